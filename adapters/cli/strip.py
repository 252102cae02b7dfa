"""The coming days of one product as text, a line a day: rain hour by hour, and which hours may be started in."""

from collections.abc import Mapping
from datetime import date, datetime
from math import isfinite
from zoneinfo import ZoneInfo

from adapters.charts.words import SHAPE, day_words
from scheduler.messages import show
from scheduler.outlook import Outlook, Strip, is_worked
from scheduler.weather.forecast import HOUR

# One block for each of these amounts [mm in the hour] reached, so that a drizzle and a downpour both show.
BLOCKS = "▁▂▃▄▅▆▇█"
FROM_MM = (0.05, 0.2, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
_WORST: dict[str, int] = {"▲": 0, "?": 1, "■": 2}
HOURS_HEAD = "0     6     12    18    "


def strip_text(told: Outlook, strip: Strip) -> str:
    """One line a day within 80 columns: the day, rain hour by hour, its sum, marks hour by hour, the day in words."""
    rain, marks = _rain(told), _marks(told, strip)
    lines = [f"{'':<11}{HOURS_HEAD}{'rain':>8} {HOURS_HEAD} start"]
    for mark in strip.days:
        amounts = rain.get(mark.day, {})
        known = [mm for mm in amounts.values() if isfinite(mm)]
        total = show.rain(sum(known), told.estate.units) if known else "-"
        row = "".join(_block(amounts.get(hour)) for hour in range(24))
        start = "".join(marks.get(mark.day, {}).get(hour, "·") for hour in range(24))
        words = "no data" if mark.verdict == "unknown" else day_words(mark, told.zone)[1]
        lines.append(f"{show.day(mark.day):<11}{row}{total:>8} {start} {words}".rstrip())
    units = told.estate.units
    lines += [
        f"{SHAPE['go']} go, {SHAPE['hold']} hold, {SHAPE['unknown']} no data, · not worked",
        f"rain in the hour: · none, {BLOCKS[0]} drizzle, {BLOCKS[3]} {show.rain(FROM_MM[3], units)}, "
        f"{BLOCKS[6]} {show.rain(FROM_MM[6], units)}",
    ]
    return "\n".join(lines)


def _by_hour(told: Outlook, when: datetime) -> tuple[date, int]:
    local = when.astimezone(ZoneInfo(told.zone))
    return local.date(), local.hour


def _rain(told: Outlook) -> Mapping[date, Mapping[int, float]]:
    """Local date and hour -> forecast rain [mm] from now on. Where the clock goes back two hours share a place."""
    found: dict[date, dict[int, float]] = {}
    forecast = told.cell.forecast
    if forecast is None:
        return found
    for when, mm in zip(forecast.times(), forecast.rain_mm.tolist(), strict=True):
        if when + HOUR > told.now and when < told.end:
            day, hour = _by_hour(told, when)
            row = found.setdefault(day, {})
            row[hour] = row.get(hour, 0.0) + mm
    return found


def _marks(told: Outlook, strip: Strip) -> Mapping[date, Mapping[int, str]]:
    """Local date and hour -> sign, for working hours; of two that share a place the one less inviting."""
    found: dict[date, dict[int, str]] = {}
    for hour in strip.hours:
        if is_worked(hour):
            day, at = _by_hour(told, hour.start)
            row = found.setdefault(day, {})
            row[at] = max(row.get(at, SHAPE["go"]), SHAPE[hour.verdict], key=lambda sign: _WORST[sign])
    return found


def _block(mm: float | None) -> str:
    if mm is None:
        return " "
    if not isfinite(mm):
        return "?"
    reached = sum(mm >= least for least in FROM_MM)
    return BLOCKS[reached - 1] if reached else "·"
