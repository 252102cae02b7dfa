"""`ligule ledger`: what was done, what it gave against every cap, and what a record still lacks."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from itertools import groupby
from pathlib import Path
from typing import Any

import click

from adapters.cli import as_json
from adapters.cli.context import INSTANT, Context, pass_context, plain_errors
from adapters.cli.decisions import JSON
from adapters.cli.layout import columns, wrap
from adapters.cli.ledger_csv import write_csv
from adapters.notify.letter import one_line
from config.models import Estate, Lawn
from scheduler.agronomy.nutrients import Nutrients
from scheduler.messages import show
from scheduler.season.dose import dose_of
from scheduler.season.given import Given, given_to, sum_of
from scheduler.season.records import LAWS, Asked, Regime, missing_asked, regimes_of
from scheduler.values import Entry

NUTRIENTS = ("n", "p2o5", "k2o", "p", "k", "fe")
MOST_GROUPS = 8  # sets of rows that lack the same, law by law
STATE = {True: "kept", False: "BROKEN", None: "not known"}

Missing = list[tuple[Regime, list[Asked]]]


@click.command()
@click.argument("lawn_id", metavar="[LAWN]", required=False)
@click.option("--year", type=click.IntRange(1970, 2200), help="Only this year.")
@click.option("--csv", "csv_path", type=click.Path(path_type=Path, dir_okay=False), help="Also write it as CSV.")
@click.option("--now", type=INSTANT, help="Count up to this instant (ISO 8601 with offset).")
@JSON
@pass_context
@plain_errors
def ledger(
    context: Context,
    lawn_id: str | None,
    year: int | None,
    csv_path: Path | None,
    now: datetime | None,
    as_json_: bool,
) -> None:
    """What was done, the nutrients given against the caps, and what the records lack.

    The sums are of the year, this one unless said otherwise, and of the last 30 days.
    """
    estate, at = context.estate, context.now(now)
    lawns = [context.lawn(lawn_id)] if lawn_id else list(estate.lawns)
    with context.store() as store:
        rows = store.entries(lawn_id, with_undone=True)
    by_lawn: dict[str, list[Entry]] = {lawn.id: [] for lawn in lawns}
    for row in rows:
        by_lawn.setdefault(row.lawn, []).append(row)
    told = {lawn.id: given_to(estate, lawn, by_lawn[lawn.id], _day(context, lawn, at, year)) for lawn in lawns}
    listed = [row for row in rows if year is None or row.local_date.year == year]
    missing = _missing(estate, listed)
    if csv_path:
        write_csv(csv_path, listed)
    if as_json_:
        as_json.show({
            "estate": estate.name,
            "entries": [_entry_json(estate, row, missing.get(row.id, [])) for row in listed],
            "totals": [_total_json(estate, lawn, told[lawn.id], listed) for lawn in lawns],
        })  # fmt: skip
        return
    click.echo(_table(estate, listed) if listed else "Nothing is recorded.")
    for lawn in lawns:
        if lawn_id or any(row.local_date.year == told[lawn.id].on.year for row in by_lawn[lawn.id]):
            click.echo(f"\n{_given_text(lawn, told[lawn.id], estate.units)}")
    if missing:
        click.echo(f"\n{_missing_text(missing)}")
    if csv_path:
        click.echo(f"\nWritten: {csv_path}")


def _day(context: Context, lawn: Lawn, at: datetime, year: int | None) -> date:
    """The day the sums run up to: today on the lawn, or the last of a year that is over or has yet to begin."""
    today = context.local_date(lawn, at)
    return today if year in (None, today.year) else date(year or today.year, 12, 31)


def _missing(estate: Estate, rows: Iterable[Entry]) -> dict[int, Missing]:
    """Row id -> what the laws and customs of its lawn still ask for; rows that lack nothing are left out."""
    lawns = {lawn.id: lawn for lawn in estate.lawns}
    products = {product.id: product for product in estate.products}
    found: dict[int, Missing] = {}
    for row in rows:
        lawn, product = lawns.get(row.lawn), products.get(row.product)
        if lawn is None or product is None:
            continue
        asked = [(regime, missing_asked(row, lawn, product, estate, regime)) for regime in regimes_of(estate, lawn)]
        if lacking := [(regime, names) for regime, names in asked if names]:
            found[row.id] = lacking
    return found


# --- JSON --------------------------------------------------------------------------------------------------------


def _entry_json(estate: Estate, row: Entry, missing: Missing) -> dict[str, Any]:
    lawn = next((x for x in estate.lawns if x.id == row.lawn), None)
    product = next((x for x in estate.products if x.id == row.product), None)
    dose = dose_of(row, product, lawn) if lawn and product else None
    lacking = [
        {"law": regime, "source": LAWS[regime].source,
         "fields": [{"field": x.field, "words": x.words, "source": x.source} for x in asked]}
        for regime, asked in missing
    ]  # fmt: skip
    return {**as_json.entry(row), "nutrients": as_json.dose(dose) if dose else None, "missing": lacking}


def _total_json(estate: Estate, lawn: Lawn, given: Given, listed: Sequence[Entry]) -> dict[str, Any]:
    """The rows that are listed, in sum; then the year and the last 30 days against the caps."""
    mine = sum_of(estate, lawn, [row for row in listed if row.lawn == lawn.id])
    caps = as_json.limits(cap.limit for cap in given.caps)
    return {
        "lawn": lawn.id,
        **as_json.dose(mine),
        "year": {"year": given.on.year, "to": given.on.isoformat(), **as_json.dose(given.year)},
        "last_30_days": {
            "from": given.recent_from.isoformat(), "to": given.on.isoformat(), **as_json.dose(given.recent)
        },
        "caps": [{**told, "on": cap.on.isoformat()} for told, cap in zip(caps, given.caps, strict=True)],
        "sheets_gone": list(given.unknown),
    }  # fmt: skip


# --- text --------------------------------------------------------------------------------------------------------


def _table(estate: Estate, rows: Sequence[Entry]) -> str:
    liquids = {product.id for product in estate.products if product.rate_ml_m2 is not None}
    known = {product.id for product in estate.products}
    told = [("#", "date", "lawn", "product", "amount", "by")]
    for row in rows:
        told.append((
            str(row.id), row.local_date.isoformat(), _short(row.lawn, 14), _short(row.product, 16),
            _amount(row, estate.units, row.product in liquids, row.product in known), _short(row.by, 13),
        ))  # fmt: skip
    return columns(told, right=(0,))


def _amount(row: Entry, units: str, liquid: bool, known: bool) -> str:
    if row.undone_at is not None:
        return "taken back"
    if row.kind == "skipped":
        return "skipped"
    if row.amount is None:
        return "sheet rate"
    if not known:
        return f"{row.amount:g}"
    return show.volume(row.amount, units) if liquid else show.weight(row.amount, units)


def _short(text: str, most: int) -> str:
    """A text on one line, without what a terminal would obey, cut to a width."""
    plain = "".join(letter if letter.isprintable() else " " for letter in one_line(text))
    return plain if len(plain) <= most else plain[: most - 1] + "…"


def _given_text(lawn: Lawn, given: Given, units: str) -> str:
    unit = show.per_area(1.0, units).partition(" ")[2]
    head = f"{lawn.name}, up to {show.day(given.on)} {given.on.year}, in {unit}"
    rows: list[tuple[str, ...]] = [("", "N", "P2O5", "K2O", "P", "K", "Fe")]
    for name, dose in ((str(given.on.year), given.year), ("last 30 days", given.recent)):
        rows.append((name, *(_number(dose, key, units) for key in NUTRIENTS)))
    lines = [wrap(head), columns(rows, right=range(1, 7))]
    for cap in given.caps:
        limit = cap.limit
        value, most = (show.per_area(x, units) for x in (limit.value or 0.0, limit.allowed[1] or 0.0))
        day = "" if limit.unit.endswith(" in the year") else f", fullest on {show.day(cap.on)}"
        note = f"; {limit.note}" if limit.note else ""
        told = f"- {_what(limit.unit)}: {value} of at most {most}, {STATE[limit.ok]}{day}{note} ({limit.source})"
        lines.append(wrap(told))
    if given.unknown:
        lines.append(wrap(f"- Not counted, since their sheets are gone: {', '.join(given.unknown)}"))
    return "\n".join(lines)


def _number(dose: Nutrients, key: str, units: str) -> str:
    return show.per_area(getattr(dose, key), units).partition(" ")[0]


def _what(unit: str) -> str:
    """ "g soluble N/m2 in 30 days" -> "soluble N in 30 days"; a cap on one application says so."""
    what, _, span = unit.removeprefix("g ").partition("/m2")
    return f"{what}{span or ' in one application'}"


def _missing_text(missing: dict[int, Missing]) -> str:
    """Rows that lack the same fields together, law by law."""
    groups: dict[Regime, dict[str, list[int]]] = {}
    for number, lacking in missing.items():
        for regime, asked in lacking:
            words = ", ".join(x.words for x in asked)
            groups.setdefault(regime, {}).setdefault(words, []).append(number)
    lines = []
    for regime in (name for name in LAWS if name in groups):
        law = LAWS[regime]
        lines.append(wrap(f"Still missing. {law.title} ({law.source}):"))
        told = [wrap(f"- {_ranges(numbers)}: {words}") for words, numbers in groups[regime].items()]
        lines += told[:MOST_GROUPS]
        if len(told) > MOST_GROUPS:
            lines.append(f"- and {len(told) - MOST_GROUPS} more sets of rows; --json has every row.")
    return "\n".join(lines)


def _ranges(numbers: Iterable[int]) -> str:
    """ "rows 1-3, 7"."""
    ordered = sorted(numbers)
    runs = [[n for _, n in run] for _, run in groupby(enumerate(ordered), key=lambda pair: pair[1] - pair[0])]
    told = ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)
    return f"row{'s' if len(ordered) > 1 else ''} {told}"
