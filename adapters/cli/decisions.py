"""`ligule brief` and `ligule why`: decide now and print; nothing is sent."""

import sys
from datetime import datetime

import click

from adapters.chances import keep_score
from adapters.cli import as_json
from adapters.cli.context import INSTANT, UNDECIDED, Context, pass_context, plain_errors
from adapters.cli.layout import agreement_table, chance_told, hours_table, limits_table, wrap
from adapters.cli.strip import strip_text
from adapters.cli.weather import feeds_for, weather_for
from adapters.store.store import Store
from config.models import Lawn, Product
from scheduler import outlook
from scheduler.agreement import agreement
from scheduler.messages.brief import SIGN, message_for
from scheduler.morning import Desk, brief_for, line_for
from scheduler.season.due import Task
from scheduler.values import Entry

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
    if now is None and not forecasts:
        with context.store() as store:
            keep_score(store, estate, weather, at)
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
    return outlook.task_for(context.estate, lawn, product, context.local_date(lawn, now), entries)


@click.command()
@click.argument("lawn_id", metavar="LAWN")
@click.argument("product_id", metavar="PRODUCT")
@click.option("--hours", "most", default=48, show_default=True, help="How many hours to list.")
@click.option("--all-feeds", is_flag=True, help="Ask every feed, not only the first that is fresh.")
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
    all_feeds: bool,
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
    listed = outlook.judged_hours(desk, task, entries, most)
    feeds = feeds_for(context, forecasts, desk.cell(lawn).cell, at, ask_all=all_feeds)
    told = agreement(desk, task, entries, feeds)
    if as_json_:
        as_json.show(as_json.why(context.estate.name, at, desk.cell(lawn), line, listed, told))
    else:
        days = outlook.outlook_of(desk, lawn, [task], entries)
        click.echo(wrap(f"{SIGN[line.verdict]}  {line.lawn_name}, {line.product_name}\n{line.text}"))
        if said := chance_told(line.chance):
            click.echo(wrap(said))
        click.echo()
        click.echo(strip_text(days, days.strips[0]))
        click.echo()
        if len(told.opinions) > 1:
            click.echo(agreement_table(told, at, days.zone, context.estate.units))
            click.echo()
        click.echo(limits_table(line.limits))
        click.echo()
        click.echo(hours_table(listed, days.zone, context.estate.units))
    if line.verdict == "unknown":
        sys.exit(UNDECIDED)
