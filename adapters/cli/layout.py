"""Plain text for a terminal of 80 columns."""

import textwrap
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from adapters.cli.as_json import margin
from scheduler.agreement import Agreement, Opinion
from scheduler.decide.explain import Hour
from scheduler.messages import show
from scheduler.values import Chance, Limit

WIDTH = 80
MARK = {"go": "▲", "hold": "■", "unknown": "?"}


def wrap(text: str, width: int = WIDTH) -> str:
    """Wrap long lines; list items keep their indent."""
    out = []
    for line in text.splitlines():
        hang = "  " if line.startswith("- ") else ""
        out += textwrap.wrap(line, width, subsequent_indent=hang, break_long_words=False) or [""]
    return "\n".join(out)


def columns(rows: Sequence[Sequence[str]], right: Iterable[int] = ()) -> str:
    """Rows in columns as wide as their widest cell."""
    if not rows:
        return ""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    aligned = set(right)
    lines = (
        "  ".join(
            cell.rjust(w) if i in aligned else cell.ljust(w)
            for i, (cell, w) in enumerate(zip(row, widths, strict=True))
        )
        for row in rows
    )
    return "\n".join(line.rstrip() for line in lines)


def chance_told(chance: Chance | None) -> str:
    """The chance of a wash-off, where it comes from, and what the feed itself says; empty where there is none."""
    if chance is None or chance.washed_off is None:
        return ""
    told = f"Chance of a wash-off by {chance.method}: {show.percent(chance.washed_off)}"
    if chance.calibrated_days and chance.said is not None:
        told += f"; the feed itself says {show.percent(chance.said)}"
    return f"{told}."


def agreement_table(told: Agreement, now: datetime, zone: str, units: str) -> str:
    """One row a feed: its mark, age, chance and rain for the same start, and its verdict."""
    local = None if told.start is None else told.start.astimezone(ZoneInfo(zone))
    about = "" if local is None else f" for a start on {show.day(local.date())} at {local:%H:%M}, {told.window_h} h"
    rows = [("", "feed", "issued", "chance", "rain", "")]
    for one in told.opinions:
        age = "-" if one.issued is None else f"{(now - one.issued).total_seconds() / 60:.0f} min ago"
        chance = "-" if one.chance is None else show.percent(one.chance)
        rain = "-" if one.rain_mm is None else show.rain(one.rain_mm, units)
        rows.append((MARK[one.verdict], one.provider, age, chance, rain, _word(one, zone)))
    end = "" if told.is_one_voice else "\nThe feeds do not agree."
    return f"What each feed says{about}:\n{columns(rows, right=(2, 3, 4))}{end}"


def _word(one: Opinion, zone: str) -> str:
    """ "go 09:00-12:00", "hold: rain after", or why the feed says nothing."""
    if one.state != "fresh":
        return textwrap.shorten(one.why, 40, placeholder=" ...")
    if one.window is not None:
        return f"go {show.span(one.window, zone)}"
    return f"{one.verdict}: {one.binding.replace('_', ' ')}"


def limits_table(limits: Iterable[Limit]) -> str:
    """Every limit: kept or not, value, allowed range and margin; its source below."""
    state = {True: "kept", False: "BROKEN", None: "unknown"}
    out = []
    for limit in limits:
        out.append(f"{limit.name:<16}{state[limit.ok]:<9}{_measured(limit)}".rstrip())
        detail = "; ".join(part for part in (limit.note, limit.source) if part)
        out += textwrap.wrap(detail, WIDTH, initial_indent="    ", subsequent_indent="    ")
    return "\n".join(out)


# What 0 and 1 mean for limits that are either kept or not.
_EITHER = {
    "hours": ("outside", "inside"),
    "daylight": ("dark", "light"),
    "inversion": ("mixed air", "still and clear near dark"),
    "leaf": ("dry", "wet"),
}


def _measured(limit: Limit) -> str:
    """ "2.4 m/s, allowed 0.8 to 5.5, margin 1.6"."""
    if limit.value is None:
        return ""
    if limit.name in _EITHER:
        word = _EITHER[limit.name][round(limit.value)]
        return limit.unit if limit.name == "leaf" and limit.value else word
    low, high = limit.allowed
    unit = "" if limit.unit == "1" else f" {limit.unit}"
    bounds = [f"at least {low:.3g}"] if high is None and low is not None else []
    bounds += [f"at most {high:.3g}"] if low is None and high is not None else []
    bounds += [f"allowed {low:.3g} to {high:.3g}"] if low is not None and high is not None else []
    left = margin(limit)
    bounds += [f"margin {left:.3g}"] if left is not None else []
    return ", ".join([f"{limit.value:.3g}{unit}", *bounds])


def hours_table(hours: Sequence[Hour], zone: str, units: str) -> str:
    """One row an hour: mark, local time, chance, rain, wind, temperature, and what stops it."""
    rows = [("", "start", "chance", "rain", "wind", "temp", "stopped by")]
    tz = ZoneInfo(zone)
    last: date | None = None
    for hour in hours:
        local = hour.start.astimezone(tz)
        if local.date() != last:
            rows.append(("", show.day(local.date()), "", "", "", "", ""))
            last = local.date()
        rows.append(
            (
                MARK[hour.verdict],
                f"{local:%H:%M}",
                _chance(hour.limits),
                "-" if hour.rain_mm is None else show.rain(hour.rain_mm, units),
                "-" if hour.wind_m_s is None else show.wind(hour.wind_m_s, units),
                "-" if hour.temperature_c is None else show.temperature(hour.temperature_c, units),
                _few(hour.stopped_by),
            )
        )
    return columns(rows, right=(2, 3, 4, 5)) if hours else "No fresh forecast: there is nothing to list."


def _few(names: Sequence[str], most: int = 3) -> str:
    """The first few names, and how many more."""
    more = len(names) - most
    return " ".join(names[:most]) + (f" +{more}" if more > 0 else "")


def _chance(limits: Iterable[Limit]) -> str:
    """The chance that decides: of a wash-off, else of the wanted rain."""
    for name in ("rain_after", "rain_band"):
        for limit in limits:
            if limit.name == name and limit.unit == "1":
                return "-" if limit.value is None else show.percent(limit.value)
    return ""
