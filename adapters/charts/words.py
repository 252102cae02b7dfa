"""The few words of a picture and of a text strip: short, since a day has little room."""

from zoneinfo import ZoneInfo

from scheduler.outlook import DayMark, Strip
from scheduler.values import Verdict, Window

SHAPE: dict[Verdict, str] = {"go": "▲", "hold": "■", "unknown": "?"}
WORD: dict[Verdict, str] = {"go": "GO", "hold": "HOLD", "unknown": "NO DATA"}

# What holds a day, in at most ten letters.
HELD_BY = {
    "closed_season": "closed",
    "yearly_maximum": "year full",
    "nitrogen_cap": "N cap",
    "phosphorus_cap": "P cap",
    "interval": "too soon",
    "new_turf": "new turf",
    "water_distance": "near water",
    "weather_warning": "warning",
    "ground": "ground",
    "heavy_rain": "heavy rain",
    "rain_after": "rain",
    "rain_band": "wait",
    "frost": "frost",
    "temperature": "temp.",
    "wind": "wind",
    "gust": "gusts",
    "inversion": "still air",
    "delta_t": "Delta T",
    "leaf": "leaf",
    "mowing": "mowing",
    "data": "no data",
    "not_due": "not due",
    "season_over": "season over",
}
RAIN = frozenset(("rain_after", "rain_band"))  # held by the chance itself


def held_by(name: str) -> str:
    """What holds a day, in a word or two."""
    return HELD_BY.get(name, name.replace("_", " "))


def brief_hours(window: Window, zone: str) -> str:
    """ "7-13" or "7:30-13", local; "about" where the forecast is not given hour by hour."""
    tz = ZoneInfo(zone)
    start, end = window.start.astimezone(tz), window.end.astimezone(tz)
    last = "24" if (end.hour, end.minute) == (0, 0) else _clock(end.hour, end.minute)
    return f"{'~' if window.indicative else ''}{_clock(start.hour, start.minute)}-{last}"


def _clock(hour: int, minute: int) -> str:
    return f"{hour}:{minute:02d}" if minute else f"{hour}"


def day_words(mark: DayMark, zone: str) -> tuple[str, str]:
    """The mark of a day in two short lines: state, and the hours or what stands in the way, with the chance."""
    if mark.verdict is None:
        return "-", ""
    state = f"{SHAPE[mark.verdict]} {WORD[mark.verdict]}"
    if mark.verdict == "go" and mark.window is not None:
        return state, brief_hours(mark.window, zone) + _percent(mark, ", ")
    if mark.verdict == "hold":
        return state, held_by(mark.stopped_by) + (_percent(mark, " ") if mark.stopped_by in RAIN else "")
    return state, ""


def _percent(mark: DayMark, before: str) -> str:
    """No forecast is called none or certain."""
    if mark.chance is None:
        return ""
    share = "<1" if mark.chance < 0.01 else ">99" if mark.chance > 0.99 else f"{mark.chance * 100:.0f}"
    return f"{before}{share} %"


def chance_words(strip: Strip) -> str:
    """What the percentages of a product mean; empty where none is shown."""
    shown = any(mark.chance is not None and (mark.verdict == "go" or mark.stopped_by in RAIN) for mark in strip.days)
    hours = (hour for hour in strip.hours for limit in hour.limits if limit.name in RAIN and limit.unit == "1")
    first = next(hours, None)
    if not shown or first is None:
        return ""
    return next(f"%: {limit.note.partition(';')[0]}" for limit in first.limits if limit.name in RAIN)
