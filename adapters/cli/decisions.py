"""`ligule brief` and `ligule why`: decide now and print; nothing is sent."""

import sys
from datetime import datetime

import click

from adapters.cli import as_json
from adapters.cli.context import INSTANT, UNDECIDED, Context, pass_context, plain_errors
from adapters.cli.layout import hours_table, limits_table, wrap
from adapters.cli.weather import weather_for
from adapters.store.store import Store
from config.models import Lawn, Product, Step
from scheduler.decide.explain import hours
from scheduler.messages.brief import SIGN, message_for
from scheduler.morning import Desk, brief_for, line_for
from scheduler.season.due import Season, Task, tasks
from scheduler.values import Due, Entry

NOW = click.option("--now", type=INSTANT, help="Decide for this instant (ISO 8601 with offset).")
FORECAST = click.option(
    "--forecast", "forecasts", multiple=True, metavar="PROVIDER:FILE",
    help="Read a recorded answer of a feed instead of asking it; may be given several times.",
)  # fmt: skip
JSON = click.option("--json", "as_json_", is_flag=True, help="Answer in JSON.")


@click.command()
@click.option("--person", "person_id", metavar="ID", help="Only what this person is told.")
@NOW
@FORECAST
@JSON
@pass_context
@plain_errors
def brief(
    context: Context, person_id: str | None, now: datetime | None, forecasts: tuple[str, ...], as_json_: bool
) -> None:
    """What to do today, what to hold and why. Nothing is sent."""
    at = context.now(now)
    estate = context.estate
    person = context.person(person_id) if person_id else None
    weather = weather_for(context, forecasts, at)
    told = brief_for(estate, person, at, weather, _entries(context))
    if as_json_:
        as_json.show(as_json.brief(told))
    else:
        click.echo(wrap(message_for(told, estate, person, trial=False, delayed=False).text))
    if told.lines and all(line.verdict == "unknown" for line in told.lines):
        sys.exit(UNDECIDED)


def _entries(context: Context) -> list[Entry]:
    with context.store() as store:
        return entries_of(store)


def entries_of(store: Store) -> list[Entry]:
    """The ledger rows that stand."""
    return store.entries()


def task_for(context: Context, lawn: Lawn, product: Product, now: datetime, entries: list[Entry]) -> Task:
    """The task of the lawn's programme, or, for a product outside of it, one that would be open all year."""
    estate = context.estate
    today = context.local_date(lawn, now)
    for task in tasks(estate, lawn, today, entries):
        if task.product.id == product.id:
            return task
    step = Step.model_validate({"product": product.id, "from": "01-01", "to": "12-31"})
    season = Season(today.replace(month=1, day=1), today.replace(month=12, day=31))
    return Task(lawn, product, step, season, Due(today, today, season.last, True), estate.tank_l)


@click.command()
@click.argument("lawn_id", metavar="LAWN")
@click.argument("product_id", metavar="PRODUCT")
@click.option("--hours", "most", default=48, show_default=True, help="How many hours to list.")
@NOW
@FORECAST
@JSON
@pass_context
@plain_errors
def why(
    context: Context,
    lawn_id: str,
    product_id: str,
    most: int,
    now: datetime | None,
    forecasts: tuple[str, ...],
    as_json_: bool,
) -> None:
    """The verdict for one lawn and product, hour by hour, with every limit, its margin and its source."""
    at = context.now(now)
    lawn, product = context.lawn(lawn_id), context.product(product_id)
    entries = [entry for entry in _entries(context) if entry.lawn == lawn.id]
    desk = Desk(context.estate, at, weather_for(context, forecasts, at))
    task = task_for(context, lawn, product, at, entries)
    line = line_for(desk, task, entries)
    table = desk.table(lawn, product)
    fresh = desk.cell(lawn).state == "fresh"
    zone = context.estate.zone_of(lawn)
    listed = hours(context.estate, task, table, at, zone, entries, most) if table is not None and fresh else []
    if as_json_:
        told = [
            {"start": as_json.instant(hour.start), "verdict": hour.verdict, "stopped_by": list(hour.stopped_by),
             "rain_mm": hour.rain_mm, "limits": as_json.limits(hour.limits)}
            for hour in listed
        ]  # fmt: skip
        as_json.show({"now": as_json.instant(at), "estate": context.estate.name,
                      "feeds": [as_json.feed(desk.cell(lawn), at)], **as_json.line(line), "hours": told})  # fmt: skip
    else:
        click.echo(wrap(f"{SIGN[line.verdict]}  {line.lawn_name}, {line.product_name}\n{line.text}\n"))
        click.echo(limits_table(line.limits))
        click.echo()
        click.echo(hours_table(listed, zone, context.estate.units))
    if line.verdict == "unknown":
        sys.exit(UNDECIDED)
