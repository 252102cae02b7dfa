"""`ligule record`, `skip` and `undo`: what was done stays on record; nothing is ever overwritten."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import click

from adapters.cli import as_json
from adapters.cli.context import INSTANT, Context, Ended, pass_context, plain_errors
from adapters.cli.decisions import JSON, task_for
from adapters.cli.layout import wrap
from adapters.cli.measures import Finite, parse_amount, parse_litres, parse_temperature, parse_wind, parse_wind_from
from adapters.cli.record_weather import READ, stored_weather
from adapters.store.store import Store
from config import text as texts
from config.models import Lawn, Product
from scheduler.agronomy.nutrients import rate_of_amount, sheet_rate
from scheduler.decide.lawn_limits import lawn_limits
from scheduler.messages import show
from scheduler.season.dose import dose_of
from scheduler.values import Entry

CLOCK_SLACK = timedelta(minutes=5)
LONGEST_WORK = timedelta(days=1)
LONGEST_NAME = 80  # of a person, as the ledger keeps it
MEASURED = "measured"
TEXTS = ("by", "note", "batch", "licence", "equipment", "reason", "crop", "soil")
DATE = click.DateTime(["%Y-%m-%d"])

OPTIONS = (
    click.option("--at", type=INSTANT, help="When the work began (ISO 8601 with offset); now if left out."),
    click.option("--end", type=INSTANT, help="When it ended."),
    click.option("--amount", help='Amount used, such as "420 ml"; the sheet\'s rate on the area if left out.'),
    click.option("--area-m2", type=Finite(0, min_open=True), help="Area treated in m²; the whole lawn if left out."),
    click.option("--water", help='Finished spray, such as "7.2 l".'),
    click.option("--by", default="", help="Who did it."),
    click.option("--licence", default="", help="Number of their licence or certificate."),
    click.option("--batch", default="", help="Batch of the product."),
    click.option("--equipment", default="", help="Sprayer or spreader used."),
    click.option("--calibrated-on", type=DATE, help="When it was last calibrated."),
    click.option("--temperature", help='Measured, such as "14 C"; else of the forecast.'),
    click.option("--humidity", type=Finite(0, 100), help="Measured, in %; else of the forecast."),
    click.option("--wind", help='Measured, such as "12 km/h"; else of the forecast.'),
    click.option("--wind-from", help="Such as SW, or degrees."),
    click.option("--soil", default="", help="Wetness of the soil, in a word."),
    click.option("--buffer-m", type=Finite(0), help="Distance kept from water in m."),
    click.option("--signs-posted/--no-signs", default=None, help="Whether signs were posted."),
    click.option("--reentry-told/--reentry-not-told", default=None, help="Whether people know when to go on it again."),
    click.option("--crop", default="", help="Crop or site code, where the law asks for one."),
    click.option("--reason", default="", help="Why, or against what."),
    click.option("--note", default="", help="Anything else worth keeping."),
)


def _with_options(command: Callable[..., Any]) -> Callable[..., Any]:
    for option in reversed(OPTIONS):
        command = option(command)
    return command


@click.command()
@click.argument("lawn_id", metavar="LAWN")
@click.argument("product_id", metavar="PRODUCT")
@_with_options
@JSON
@pass_context
@plain_errors
def record(context: Context, lawn_id: str, product_id: str, as_json_: bool, **typed: Any) -> None:
    """Record a job as done. The next date follows from it.

    Weather that was not measured, and the forecast the job rested on, are filled in from what the feeds gave.
    """
    lawn, product = context.lawn(lawn_id), context.product(product_id)
    now = context.now()
    entry = _measured(_begun(context, lawn, product, typed.pop("at"), now), lawn, product, typed, now)
    with context.store() as store:
        entry = _filled_in(context, store, entry, lawn, product, now)
        _refuse_twice(store, entry)
        warnings = _broken_limits(context, store, entry, lawn, product)
        entry = replace(entry, id=store.add_entry(entry, now))
    if as_json_:
        as_json.show({"recorded": as_json.entry(entry), "nutrients": as_json.dose(dose_of(entry, product, lawn)),
                      "warnings": warnings})  # fmt: skip
        return
    units = context.estate.units
    amount = show.volume if product.rate_ml_m2 is not None else show.weight
    told = f"Recorded: {product.name} on {lawn.name}, {show.day(entry.local_date)}, {amount(entry.amount or 0, units)}"
    told += " (the sheet's rate)." if typed["amount"] is None else "."
    lines = [told, _weather_text(entry, units), *(f"Mind: outside a limit when it was done - {x}" for x in warnings)]
    click.echo(wrap("\n".join(line for line in lines if line)))


def _begun(context: Context, lawn: Lawn, product: Product, at: datetime | None, now: datetime) -> Entry:
    when = at or now
    if when > now + CLOCK_SLACK:
        raise Ended(
            f"--at: found {as_json.instant(when)}, allowed: up to now; what is still to come cannot be recorded"
        )
    return Entry(lawn.id, product.id, when, context.local_date(lawn, when))


def _measured(entry: Entry, lawn: Lawn, product: Product, typed: dict[str, Any], now: datetime) -> Entry:
    """The row with all that was typed."""
    area = lawn.area_m2 if typed["area_m2"] is None else typed["area_m2"]
    if area > lawn.area_m2:
        raise Ended(f"--area-m2: found {area:g}, allowed: up to the lawn's {lawn.area_m2:g}")
    end = typed["end"]
    if end is not None and not entry.at <= end <= min(entry.at + LONGEST_WORK, now + CLOCK_SLACK):
        raise Ended(f"--end: found {as_json.instant(end)}, allowed: from the start up to now, within a day")
    amount = sheet_rate(product)[0] * area if typed["amount"] is None else parse_amount(typed["amount"], product)
    values: dict[str, Any] = {name: _text(name, typed[name]) for name in TEXTS}
    values |= {name: typed[name] for name in ("buffer_m", "signs_posted", "reentry_told")}
    values |= {"temperature_c": _parsed(parse_temperature, typed["temperature"])}
    values |= {"humidity_pct": typed["humidity"], "wind_m_s": _parsed(parse_wind, typed["wind"])}
    calibrated = typed["calibrated_on"]
    return replace(
        entry,
        end=end,
        area_m2=area,
        amount=amount,
        water_l=None if typed["water"] is None else parse_litres(typed["water"], "--water"),
        calibrated_on=None if calibrated is None else calibrated.date(),
        wind_from=_parsed(parse_wind_from, typed["wind_from"]) or "",
        weather_by=MEASURED if any(values[name] is not None for name in READ) else "",
        **values,
    )


def _parsed(parse: Callable[[str], Any], typed: str | None) -> Any:
    return None if typed is None else parse(typed)


def _text(name: str, typed: str) -> str:
    """A text as the ledger keeps it: outer blanks off, one form of each letter, no hidden characters."""
    option = "--" + name
    plain: str = texts.clean(typed, (name,))
    if not plain.isascii() and any("\ud800" <= letter <= "\udfff" for letter in plain):
        raise Ended(f"{option}: found bytes that are no text, allowed: text in UTF-8")
    for _, found, allowed in texts.faults(plain, ("notes",)):
        raise Ended(f"{option}: found {found}, allowed: {allowed}")
    if name == "by" and len(plain) > LONGEST_NAME:
        raise Ended(f"{option}: found {len(plain)} characters, allowed: at most {LONGEST_NAME}")
    return plain


def _filled_in(context: Context, store: Store, entry: Entry, lawn: Lawn, product: Product, now: datetime) -> Entry:
    """The row with the stored weather wherever none was measured, and the forecast it rested on."""
    stored = stored_weather(context.estate, store, lawn, product, entry.at, now)
    provider = stored.pop("weather_by", "")
    gaps = {name: stored.pop(name) for name in READ if name in stored and getattr(entry, name) is None}
    by = ", ".join(x for x in (entry.weather_by, provider if gaps else "") if x)
    rest = {name: value for name, value in stored.items() if name not in READ}
    return replace(entry, weather_by=by, **gaps, **rest)


def _refuse_twice(store: Store, entry: Entry) -> None:
    """The same product on the same lawn at the same instant is one job, entered twice."""
    if any(row.product == entry.product and row.at == entry.at for row in store.entries(entry.lawn)):
        raise Ended(f"record: {entry.product} on {entry.lawn} at {as_json.instant(entry.at)} is on record already")


def _broken_limits(context: Context, store: Store, entry: Entry, lawn: Lawn, product: Product) -> list[str]:
    """The lawn's own limits that the job, with the amount that was used, did not keep when it was done."""
    before = store.entries(lawn.id)
    task = task_for(context, lawn, product, entry.at, before)
    earlier = [row for row in before if row.at <= entry.at]
    rate = rate_of_amount(product, entry.amount, entry.area_m2 or lawn.area_m2)
    limits = lawn_limits(context.estate, task, entry.local_date, earlier, rate)
    times = rate / sheet_rate(product)[0]
    odd = [] if 0.5 <= times <= 1.5 else [f"amount: {times:.2g} times the sheet's rate (products.toml {product.id})"]
    return odd + [
        f"{x.name.replace('_', ' ')}: {x.note or f'{x.value:g} {x.unit}'} ({x.source})" for x in limits if x.ok is False
    ]


def _weather_text(entry: Entry, units: str) -> str:
    """One line on the weather and the forecast, empty where nothing is known."""
    said = []
    if entry.temperature_c is not None:
        said.append(show.temperature(entry.temperature_c, units))
    if entry.humidity_pct is not None:
        said.append(f"humidity {entry.humidity_pct:.0f} %")
    if entry.wind_m_s is not None:
        said.append(f"wind {show.wind(entry.wind_m_s, units)}")
    weather = f"Weather: {', '.join(said)} ({entry.weather_by})." if said else ""
    basis = ""
    if entry.forecast_provider:
        basis = f" Forecast: {entry.forecast_provider} of {as_json.instant(entry.forecast_issued)}"
        if entry.forecast_chance is not None:
            basis += f", chance {show.percent(entry.forecast_chance)} of {show.in_units(entry.forecast_of, units)}"
        basis += "."
    return (weather + basis).strip()


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
    now = context.now()
    entry = replace(_begun(context, lawn, product, at, now), kind="skipped", note=_text("note", note))
    with context.store() as store:
        store.add_entry(entry, now)
    click.echo(
        wrap(f"Left out: {product.name} on {lawn.name}. "
             f"The next one keeps its full interval from {show.day(entry.local_date)}.")
    )  # fmt: skip


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
    click.echo(wrap(f"Taken back: the {word} of {product.name} on {lawn.name}, {show.day(taken.local_date)}."))
