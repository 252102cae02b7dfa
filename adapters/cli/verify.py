"""`ligule verify`: how good probability forecasts were, from a file of pairs."""

import math
import re
from pathlib import Path
from typing import Any

import click
import numpy as np

from adapters.cli import as_json
from adapters.cli.context import Ended, plain_errors
from adapters.cli.decisions import JSON
from adapters.cli.layout import columns, wrap
from adapters.cli.observed_table import Column, Table, read_table
from scheduler.verify import scores
from scheduler.weather.chance import AMOUNT_TOLERANCE_MM, MEMBERS_NEEDED
from scheduler.weather.forecast import FIELDS, Floats, Ints

MEMBER = re.compile(r"member_[0-9]{1,4}")
CLIMATE = "the base rate of these pairs, always"
RAIN = FIELDS["rain_mm"][2] * 24 * 7  # an amount may be the sum of several days


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--threshold-mm", type=click.FloatRange(0, RAIN, min_open=True), required=True,
    help="The event: at least this much rain. Members are counted by it; probabilities are taken to speak of it.",
)  # fmt: skip
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), help="Also draw it (.png or .svg).")
@JSON
@plain_errors
def verify(file: Path, threshold_mm: float, picture: Path | None, as_json_: bool) -> None:
    """Score probability forecasts against what came.

    FILE is CSV, plain or gzip: valid, observed_mm, and member_1, member_2, ... (mm) or probability (0 to 1).
    """
    if math.isnan(threshold_mm):
        raise Ended("--threshold-mm: found nan, allowed: an amount of rain in mm")
    if picture:
        from adapters.cli.pictures import check_picture

        check_picture(picture)
    table = read_table(
        file, "valid", [Column("observed_mm", 0, RAIN, required=True), Column("probability", 0, 1)], _member
    )
    chance = _chance(table, file, threshold_mm)
    observed = table.columns["observed_mm"]
    came = np.where(np.isnan(observed), np.nan, (observed >= threshold_mm - AMOUNT_TOLERANCE_MM).astype(float))
    group, left_out = _groups(table)
    try:
        told = scores.verify(chance, came, group)
    except ValueError as error:
        raise Ended(f"{file.name}: {error}") from None
    if picture:
        from adapters.cli.pictures import draw_reliability

        draw_reliability(picture, told, threshold_mm)
    if as_json_:
        as_json.show(_answer(told, len(chance), threshold_mm, left_out))
        return
    click.echo(_text(told, file.name, len(chance), threshold_mm, left_out))
    if picture:
        click.echo(f"Written: {picture}")


def _member(name: str) -> Column | None:
    """What a heading holds that is none of the named ones."""
    return Column(name, 0, RAIN) if MEMBER.fullmatch(name) else None


def _chance(table: Table, file: Path, threshold_mm: float) -> Floats:
    """Chance of the event in each row, (n,); NaN where it is not given or fewer than 80 % of the members are."""
    members = [values for name, values in table.columns.items() if MEMBER.fullmatch(name)]
    stated = table.columns.get("probability")
    if stated is not None and members:
        raise Ended(f"{file.name}: found probability and members; allowed: one of the two")
    if stated is not None:
        return stated
    if not members:
        raise Ended(f"{file.name}: found neither probability nor member_1, member_2, ...; allowed: one of the two")
    amounts = np.array(members)
    known = ~np.isnan(amounts)
    share = np.sum(amounts >= threshold_mm - AMOUNT_TOLERANCE_MM, axis=0) / np.maximum(known.sum(axis=0), 1)
    return np.where(known.mean(axis=0) >= MEMBERS_NEEDED - 1e-9, share, np.nan)


def _groups(table: Table) -> tuple[Ints, str]:
    """What calibration leaves out in turn: the year, or within one year the month."""
    years = np.array([when.year for when in table.times], dtype=np.int64)
    if len(np.unique(years)) > 1:
        return years, "year"
    return np.array([when.month for when in table.times], dtype=np.int64), "month"


def _plain(value: float | None) -> float | None:
    """A number for JSON; null where it is not defined."""
    return None if value is None or math.isnan(value) else value


def _answer(told: scores.Verification, rows: int, threshold_mm: float, left_out: str) -> dict[str, Any]:
    calibrated = None
    if told.calibrated_brier is not None:
        calibrated = {"brier": told.calibrated_brier, "skill": _plain(told.calibrated_skill), "left_out": left_out}
    return {
        "n": told.n,
        "rows": rows,
        "threshold_mm": threshold_mm,
        "base_rate": told.base_rate,
        "brier": told.brier,
        "brier_climate": told.brier_climate,
        "climate": CLIMATE,
        "skill": _plain(told.skill),
        "reliability": [{"forecast": b.forecast, "observed": b.observed, "n": b.n} for b in told.reliability],
        "value": {f"{ratio:g}": _plain(value) for ratio, value in told.value.items()},
        "calibrated": calibrated,
    }


def _text(told: scores.Verification, name: str, rows: int, threshold_mm: float, left_out: str) -> str:
    def shown(value: float | None, pattern: str = ".3f") -> str:
        return "-" if value is None or math.isnan(value) else format(value, pattern)

    lines = [
        f"{name}: {told.n} of {rows} rows can be scored; {threshold_mm:g} mm or more came in {told.base_rate:.1%}.",
        f"Brier score {told.brier:.4f}, against {told.brier_climate:.4f} for saying {CLIMATE}: "
        f"skill {shown(told.skill)}.",
    ]
    if told.calibrated_brier is None:
        lines.append("Calibration needs at least two months of pairs.")
    else:
        lines.append(
            f"Calibrated on the other {left_out}s (isotonic): Brier score {told.calibrated_brier:.4f}, "
            f"skill {shown(told.calibrated_skill)}."
        )
    table = [
        ("forecast", "came", "pairs"),
        *((f"{b.forecast:.0%}", f"{b.observed:.0%}", f"{b.n}") for b in told.reliability),
    ]
    worth = [("cost / loss", "value"), *((f"{ratio:g}", shown(value, ".2f")) for ratio, value in told.value.items())]
    return "\n\n".join(
        [
            "\n".join(wrap(line) for line in lines),
            columns(table, right=(0, 1, 2)),
            wrap("Value of acting on the forecast by cost / loss (1: as good as foreknowledge, 0: as climate alone):"),
            columns(worth, right=(0, 1)),
        ]
    )
