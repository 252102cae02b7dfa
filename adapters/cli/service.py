"""`ligule check` and `ligule run`: is everything right, and the service itself."""

import sys
from datetime import datetime

import click

from adapters.cli.context import INSTANT, OUTSIDE_FAILED, Context, Ended, pass_context, plain_errors
from adapters.clock import SystemClock, TrialClock
from adapters.daemon import run as run_daemon
from adapters.feeds import fetch
from adapters.notify.results import Sent
from adapters.notify.send import send
from adapters.weather import cells_of
from config.load import load_estate
from config.models import Estate
from config.secrets import missing_secrets
from scheduler.season.advice import notes_on
from scheduler.values import Message


@click.command()
@click.option("--reach", is_flag=True, help="Also try the feed, and send each person a test message.")
@pass_context
@plain_errors
def check(context: Context, reach: bool) -> None:
    """Validate the estate folder; list everything that is wrong with file and line."""
    estate = context.estate
    counts = f"{_count(estate.lawns, 'lawn')}, {_count(estate.products, 'product')}"
    counts += f", {_count(estate.programmes, 'programme')}, {_count(estate.people, 'person', 'people')}"
    click.echo(f"{estate.name}: {counts}, {_count(cells_of(estate), 'forecast cell')}. No mistakes found.")
    for note in notes_on(estate):
        click.echo(f"Mind: {note}")
    missing = missing_secrets(estate, context.environ)
    for problem in missing:
        click.echo(f"Not set yet: {problem}")
    if reach and not (_try_feeds(context, estate) & _try_people(context, estate)):
        sys.exit(OUTSIDE_FAILED)


def _count(parts: object, one: str, many: str = "") -> str:
    number = len(parts)  # type: ignore[arg-type]
    return f"{number} {one if number == 1 else many or one + 's'}"


def _try_feeds(context: Context, estate: Estate) -> bool:
    """Ask each feed for one cell; True if at least one gives a forecast."""
    cells, good = cells_of(estate)[:1], False
    if not cells:
        raise Ended("check: no lawn is declared")
    for provider in estate.feed.order:
        outcomes = fetch.refresh(
            provider, cells, {}, feed=estate.feed, environ=context.environ, now=context.now(),
            allow_local=context.allow_local,
        )  # fmt: skip
        outcome = outcomes[cells[0]]
        if outcome.forecast is None:
            click.echo(f"Feed {provider}: {outcome.error}")
            continue
        good = True
        minutes = (context.now() - outcome.forecast.issued).total_seconds() / 60
        click.echo(f"Feed {provider}: answers, {outcome.forecast.hours} h, issued {minutes:.0f} min ago")
    return good


def _try_people(context: Context, estate: Estate) -> bool:
    """Send each person a test message over each channel; True if all arrived."""
    now, good = context.now(), True
    text = f"This is a test from Ligule for {estate.name}. If you can read it, the morning brief will reach you here."
    message = Message(f"Test: {estate.name}", text + "\n", f"<p>{text}</p>" if "<" not in text else "")
    for person in estate.people:
        for number, reach in enumerate(person.reach, 1):
            outcome = send(
                reach, message, f"test-{person.id}-{number}-{now:%Y%m%dT%H%M%S}", now=now, environ=context.environ
            )
            good &= isinstance(outcome, Sent)
            click.echo(f"{person.name}, channel {number}: {'sent' if isinstance(outcome, Sent) else outcome.why}")
    return good


@click.command()
@click.option("--clock", type=INSTANT, help="Start with the clock at this instant, for trials; said on every message.")
@pass_context
@plain_errors
def run(context: Context, clock: datetime | None) -> None:
    """The service: keeps the weather fresh and sends each person their brief, until it is stopped."""
    load_estate(context.folder, context.environ)
    sys.exit(run_daemon(context.folder, context.environ, TrialClock(clock) if clock else SystemClock()))
