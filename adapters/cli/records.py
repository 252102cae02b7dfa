"""`ligule record`, `skip`, `undo` and `ledger`: what was done stays on record; nothing is ever overwritten."""

import csv
import re
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import click

from adapters.cli import as_json
from adapters.cli.context import INSTANT, Context, Ended, pass_context, plain_errors
from adapters.cli.decisions import JSON, entries_of, task_for
from adapters.cli.layout import columns
from config.models import Lawn, Product
from scheduler.agronomy import units as u
from scheduler.agronomy.nutrients import Nutrients, nutrients, rate_of_amount
from scheduler.decide.lawn_limits import lawn_limits
from scheduler.messages import show
from scheduler.values import Entry

ML = {"ml": 1.0, "l": 1000.0, "fl oz": u.ml_from_fl_oz(1), "gal": u.l_from_gal(1) * 1000}
GRAMS = {"g": 1.0, "kg": 1000.0, "oz": u.g_from_oz(1), "lb": u.g_from_lb(1)}
CLOCK_SLACK = timedelta(minutes=5)


def parse_amount(text: str, product: Product) -> float:
    """An amount such as "420 ml", "3.6 kg" or "2 lb" in ml or g, as the product's form wants. Ended if it is none."""
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(ml|l|fl ?oz|gal|g|kg|oz|lb)\s*", text.lower())
    allowed = ML if product.rate_ml_m2 is not None else GRAMS
    unit = match and match[2].replace("floz", "fl oz")
    if not match or unit not in allowed or float(match[1]) <= 0:
        raise Ended(f"--amount: found {text!r}, allowed: a number above 0 with {', '.join(allowed)}")
    return float(match[1]) * allowed[str(unit)]


def _entry(context: Context, lawn: Lawn, product: Product, at: datetime | None, kind: str, **more: object) -> Entry:
    now = context.now()
    when = at or now
    if when > now + CLOCK_SLACK:
        raise Ended(
            f"--at: found {as_json.instant(when)}, allowed: up to now; what is still to come cannot be recorded"
        )
    entry = Entry(lawn.id, product.id, when, context.local_date(lawn, when))
    return replace(entry, kind=kind, **more)  # type: ignore[arg-type]


@click.command()
@click.argument("lawn_id", metavar="LAWN")
@click.argument("product_id", metavar="PRODUCT")
@click.option("--at", type=INSTANT, help="When the work began (ISO 8601 with offset); now if left out.")
@click.option("--amount", help='Amount used, such as "420 ml" or "3.6 kg"; the sheet\'s rate on the lawn if left out.')
@click.option("--by", default="", help="Who did it.")
@click.option("--note", default="", help="Anything worth keeping: batch, wind at the start, ...")
@JSON
@pass_context
@plain_errors
def record(
    context: Context,
    lawn_id: str,
    product_id: str,
    at: datetime | None,
    amount: str | None,
    by: str,
    note: str,
    as_json_: bool,
) -> None:
    """Record a job as done. The next date follows from it."""
    lawn, product = context.lawn(lawn_id), context.product(product_id)
    used = parse_amount(amount, product) if amount is not None else None
    entry = _entry(context, lawn, product, at, "done", amount=used, by=by, note=note)
    with context.store() as store:
        before = [row for row in entries_of(store) if row.lawn == lawn.id]
        task = task_for(context, lawn, product, entry.at, before)
        earlier = [row for row in before if row.at <= entry.at]
        broken = [x for x in lawn_limits(context.estate, task, entry.local_date, earlier) if x.ok is False]
        entry = replace(entry, id=store.add_entry(entry, context.now()))
    warnings = [f"{x.name.replace('_', ' ')}: {x.note or f'{x.value:g} {x.unit}'} ({x.source})" for x in broken]
    if as_json_:
        as_json.show({"recorded": as_json.entry(entry), "warnings": warnings})
        return
    what = show.volume(used, context.estate.units) if used and product.rate_ml_m2 else None
    what = what or (show.weight(used, context.estate.units) if used else "the sheet's rate")
    click.echo(f"Recorded: {product.name} on {lawn.name}, {show.day(entry.local_date)}, {what}.")
    for warning in warnings:
        click.echo(f"Mind: outside a limit when it was done - {warning}")


@click.command()
@click.argument("lawn_id", metavar="LAWN")
@click.argument("product_id", metavar="PRODUCT")
@click.option("--at", type=INSTANT, help="Date it is left out on (ISO 8601 with offset); now if left out.")
@click.option("--note", default="", help="Why.")
@pass_context
@plain_errors
def skip(context: Context, lawn_id: str, product_id: str, at: datetime | None, note: str) -> None:
    """Leave this application out. The next one is a full interval away; nothing is made up for."""
    lawn, product = context.lawn(lawn_id), context.product(product_id)
    with context.store() as store:
        store.add_entry(_entry(context, lawn, product, at, "skipped", note=note), context.now())
    click.echo(f"Left out: {product.name} on {lawn.name}. The next one keeps its full interval from today.")


@click.command()
@click.argument("lawn_id", metavar="LAWN")
@click.argument("product_id", metavar="PRODUCT")
@pass_context
@plain_errors
def undo(context: Context, lawn_id: str, product_id: str) -> None:
    """Take back the last record or skip of a product on a lawn. It stays in the ledger, marked as taken back."""
    lawn, product = context.lawn(lawn_id), context.product(product_id)
    with context.store() as store:
        taken = store.undo_last(lawn.id, product.id, context.now())
    if taken is None:
        raise Ended(f"undo: nothing is recorded for {product.id} on {lawn.id}")
    word = "record" if taken.kind == "done" else "skip"
    click.echo(f"Taken back: the {word} of {product.name} on {lawn.name}, {show.day(taken.local_date)}.")


@click.command()
@click.argument("lawn_id", metavar="[LAWN]", required=False)
@click.option("--year", type=click.IntRange(1970, 2200), help="Only this year.")
@click.option("--csv", "csv_path", type=click.Path(path_type=Path, dir_okay=False), help="Also write it as CSV.")
@JSON
@pass_context
@plain_errors
def ledger(context: Context, lawn_id: str | None, year: int | None, csv_path: Path | None, as_json_: bool) -> None:
    """What was done, and the nutrients given per lawn."""
    lawns = [context.lawn(lawn_id)] if lawn_id else list(context.estate.lawns)
    wanted = {lawn.id: lawn for lawn in lawns}
    with context.store() as store:
        rows = [row for row in store.entries(with_undone=True) if row.lawn in wanted or not lawn_id]
    rows = [row for row in rows if year is None or row.local_date.year == year]
    totals = {lawn.id: _total(context, lawn, rows) for lawn in lawns}
    if csv_path:
        write_csv(csv_path, rows)
    if as_json_:
        sums = [{"lawn": lawn, **as_json.dose(total)} for lawn, total in totals.items()]
        as_json.show({"estate": context.estate.name, "entries": [as_json.entry(row) for row in rows], "totals": sums})
        return
    units = context.estate.units
    if rows:
        table = [("date", "lawn", "product", "", "by")]
        for row in rows:
            state = "taken back" if row.undone_at else row.kind
            table.append((row.local_date.isoformat(), row.lawn, row.product, state, row.by))
        click.echo(columns(table))
        click.echo("")
    for lawn in lawns:
        total = totals[lawn.id]
        click.echo(
            f"{lawn.name}: N {show.per_area(total.n, units)}, P2O5 {show.per_area(total.p2o5, units)}, "
            f"K2O {show.per_area(total.k2o, units)}, Fe {show.per_area(total.fe, units)}"
        )


def _total(context: Context, lawn: Lawn, rows: list[Entry]) -> Nutrients:
    known = {product.id: product for product in context.estate.products}
    done = [r for r in rows if r.lawn == lawn.id and r.kind == "done" and r.undone_at is None and r.product in known]
    doses = (nutrients(known[r.product], rate_of_amount(known[r.product], r.amount, lawn.area_m2)) for r in done)
    return sum(doses, Nutrients())


def write_csv(path: Path, rows: list[Entry]) -> None:
    """The ledger as CSV (UTF-8 with BOM, for spreadsheets). Text never runs as a formula."""
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        out = csv.writer(file)
        out.writerow(["id", "lawn", "product", "kind", "at", "date", "amount", "by", "note", "undone_at"])
        for row in rows:
            told = as_json.entry(row)
            out.writerow([safe_cell(told[key]) for key in told])


def safe_cell(value: object) -> object:
    """A cell that no spreadsheet takes for a formula: text starting with = + - @ TAB or CR gets a leading '."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return f"'{value}"
    return value
