"""Can the clock be believed? A stepping clock must neither repeat nor flood; a senseless one must not send at all."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

EARLIEST = datetime(2026, 1, 1, tzinfo=UTC)  # this code did not exist before
LATEST = EARLIEST.replace(year=EARLIEST.year + 25)
STEP = timedelta(seconds=60)  # wall and monotonic clock apart by more: stepped, or the host slept
LEAP = timedelta(days=1)  # a forward step that large must prove itself
SETTLE = timedelta(minutes=10)  # by standing that long
BACK = timedelta(hours=1)  # the clock may lie that far behind the newest row


@dataclass(frozen=True)
class ClockView:
    """What the guard remembers from one look to the next: wall time (UTC), monotonic seconds, end of a hold if any."""

    wall: datetime
    monotonic_s: float
    hold_until_s: float | None = None


@dataclass(frozen=True)
class ClockVerdict:
    """`ok`: send; `stepped`: run every job at once; `hold`: send nothing. `why` in words."""

    state: Literal["ok", "stepped", "hold"]
    why: str
    view: ClockView


def judge_clock(
    wall: datetime,
    monotonic_s: float,
    before: ClockView | None,
    newest_row: datetime | None,
    *,
    trusted: bool = False,
) -> ClockVerdict:
    """Judge the present reading against the last one and against the newest instant the database knows of.

    A clock set by hand (`trusted`) may say any date; its steps are still noticed.
    """
    step = timedelta(0)
    if before is not None:
        step = (wall - before.wall) - timedelta(seconds=monotonic_s - before.monotonic_s)
    hold_until_s = before.hold_until_s if before else None
    if step > LEAP and before is not None and _can_be(before.wall):
        hold_until_s = monotonic_s + SETTLE.total_seconds()
    elif step < -STEP or (hold_until_s is not None and monotonic_s >= hold_until_s):
        hold_until_s = None
    view = ClockView(wall, monotonic_s, hold_until_s)
    if not trusted and not _can_be(wall):
        return ClockVerdict("hold", f"the clock says {wall:%Y-%m-%d}, which cannot be", view)
    if newest_row is not None and wall < newest_row - BACK:
        return ClockVerdict(
            "hold", f"the clock is behind what was already recorded at {newest_row:%Y-%m-%d %H:%M}Z", view
        )
    if hold_until_s is not None:
        return ClockVerdict("hold", "the clock leapt by more than a day; waiting 10 min for it to settle", view)
    if abs(step) > STEP:
        return ClockVerdict("stepped", f"the clock stepped by {step.total_seconds():+.0f} s", view)
    return ClockVerdict("ok", "", view)


def _can_be(wall: datetime) -> bool:
    return EARLIEST <= wall < LATEST
