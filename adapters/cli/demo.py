"""`ligule demo`: one invented morning, offline."""

import csv
import io
from datetime import UTC, datetime
from importlib.resources import as_file, files
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from adapters.cli import as_json
from adapters.cli.context import plain_errors
from adapters.cli.decisions import JSON
from adapters.cli.layout import WIDTH, wrap
from adapters.cli.weather import recorded_weather
from config.load import load_estate
from config.models import Estate
from scheduler.messages import show
from scheduler.messages.brief import message_for, tally
from scheduler.morning import Desk, brief_for
from scheduler.values import Entry

MORNING = datetime(2026, 5, 4, 5, tzinfo=UTC)
FORECASTS = ("open-meteo:plover.json", "met-norway:sandmartin.json", "met-norway:heron.json", "met-norway:mill.json")


@click.command()
@click.option(
    "--copy", type=click.Path(path_type=Path), help="Also write the demo's estate folder here, to try things on."
)
@JSON
@plain_errors
def demo(copy: Path | None, as_json_: bool) -> None:
    """One invented morning, offline: a home lawn, a sports ground and a round, and what each person is told."""
    with as_file(files("config") / "demo") as folder:
        estate = load_estate(folder / "estate", {})
        specs = [
            f"{provider}:{folder / 'forecasts' / name}" for provider, _, name in (s.partition(":") for s in FORECASTS)
        ]
        weather = recorded_weather(estate, specs, MORNING)
        entries = _history(folder / "history.csv", estate)
        if copy:
            _copy(folder / "estate", copy)
    desk = Desk(estate, MORNING, weather)
    whole = brief_for(estate, None, MORNING, weather, entries, desk)
    if as_json_:
        as_json.show({**as_json.brief(whole), "messages": [
            {"person": person.id, "title": told.title, "text": told.text}
            for person in estate.people
            for told in [message_for(brief_for(estate, person, MORNING, weather, entries, desk), estate, person,
                                     trial=False, delayed=False)]]})  # fmt: skip
        return
    click.echo(wrap(f"{estate.name}: an invented estate on an invented morning, {show.day(whole.local_date)} 2026. "
                    f"Nothing is sent and nothing is real. In all: {tally(whole)}."))  # fmt: skip
    for person in estate.people:
        told = message_for(
            brief_for(estate, person, MORNING, weather, entries, desk), estate, person, trial=False, delayed=False
        )
        at = f"{person.brief_at:%H:%M}" if person.brief_at else "-"
        click.echo(f"\n{f' To {person.name}, {at} '.center(WIDTH, '=')}\nSubject: {told.title}\n")
        click.echo(wrap(told.text))
    if copy:
        click.echo(f"\nThe estate folder is in {copy}. Next: ligule --estate {copy} check")


def _history(path: Path, estate: Estate) -> list[Entry]:
    """What was done before, from the demo's own file."""
    found = []
    for row in csv.DictReader(io.StringIO(path.read_text("utf-8"))):
        at = datetime.fromisoformat(row["at"]).astimezone(UTC)
        zone = ZoneInfo(estate.zone_of(estate.lawn(row["lawn"])))
        found.append(Entry(row["lawn"], row["product"], at, at.astimezone(zone).date(), by=row["by"]))
    return found


def _copy(source: Path, target: Path) -> None:
    """Copy the estate's files into a new folder; never over anything."""
    target.mkdir(parents=True, exist_ok=True)
    for path in sorted(source.iterdir()):
        if path.is_file():
            with (target / path.name).open("x", encoding="utf-8") as file:
                file.write(path.read_text("utf-8"))
