"""`ligule picture`: the coming days of one lawn as a picture."""

import sys
from datetime import datetime
from pathlib import Path
from typing import Literal

import click

from adapters.charts import ChartsMissing, picture
from adapters.cli.context import INSTANT, OUTSIDE_FAILED, UNDECIDED, Context, Ended, pass_context, plain_errors
from adapters.cli.decisions import FORECAST
from adapters.cli.weather import weather_for
from scheduler.morning import Desk
from scheduler.outlook import outlook


@click.command("picture")
@click.argument("lawn_id", metavar="LAWN")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--days", type=click.IntRange(1, 7), default=5, show_default=True, help="How many days to show.")
@click.option("--now", type=INSTANT, help="Decide for this instant (ISO 8601 with offset).")
@FORECAST
@pass_context
@plain_errors
def picture_command(
    context: Context, lawn_id: str, file: Path, days: int, now: datetime | None, forecasts: tuple[str, ...]
) -> None:
    """Draw the coming days of a lawn into FILE (.png or .svg): rain, wind, temperature and when each product may go on.

    Needs matplotlib: pip install 'ligule[charts]'.
    """
    form = _form(file)
    at, lawn = context.now(now), context.lawn(lawn_id)
    with context.store() as store:
        entries = store.entries(lawn.id)
    told = outlook(Desk(context.estate, at, weather_for(context, forecasts, at)), lawn, entries, days)
    try:
        file.write_bytes(picture(told, form))
    except ChartsMissing as error:
        raise Ended(str(error), OUTSIDE_FAILED) from None
    except OSError as error:
        raise Ended(f"{file} cannot be written: {error.strerror}", OUTSIDE_FAILED) from None
    click.echo(f"Written: {file}")
    if told.strips and all(strip.line.verdict == "unknown" for strip in told.strips):
        sys.exit(UNDECIDED)


def _form(file: Path) -> Literal["png", "svg"]:
    """What kind of picture the name asks for, before anything is decided."""
    ending = file.suffix.lower()
    if ending not in (".png", ".svg"):
        raise Ended(f"picture: found {file.name!r}, allowed: a name ending in .png or .svg")
    if not file.absolute().parent.is_dir():
        raise Ended(f"picture: the folder {str(file.absolute().parent)!r} does not exist")
    return "png" if ending == ".png" else "svg"
