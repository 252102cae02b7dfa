"""Plain text for a terminal of 80 columns."""

import textwrap
from collections.abc import Iterable, Sequence
from datetime import date
from zoneinfo import ZoneInfo

from adapters.cli.as_json import margin
from scheduler.decide.explain import Hour
from scheduler.messages import show
from scheduler.values import Limit

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


def limits_table(limits: Iterable[Limit]) -> str:
    """Every limit: kept or not, value, allowed range, margin; its source below."""
    said = {True: "kept", False: "BROKEN", None: "unknown"}
    out = []
    for limit in limits:
        low, high = limit.allowed
        bounds = "-" if low is None and high is None else f"{_number(low)} .. {_number(high)}"
        left = margin(limit)
        value = "-" if limit.value is None else f"{limit.value:.3g}"
        margin_text = "" if left is None else f"margin {left:+.3g}"
        out.append(f"{limit.name:<16}{said[limit.ok]:<9}{value:>8} {limit.unit:<18}{bounds:<14}{margin_text}".rstrip())
        detail = "; ".join(part for part in (limit.note, limit.source) if part)
        out += textwrap.wrap(detail, WIDTH, initial_indent="    ", subsequent_indent="    ")
    return "\n".join(out)


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.3g}"


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
                " ".join(hour.stopped_by),
            )
        )
    return columns(rows, right=(2, 3, 4, 5)) if hours else "No fresh forecast: there is nothing to list."


def _chance(limits: Iterable[Limit]) -> str:
    """The chance that decides: of a wash-off, else of the wanted rain."""
    for name in ("rain_after", "rain_band"):
        for limit in limits:
            if limit.name == name and limit.unit == "1":
                return "-" if limit.value is None else show.percent(limit.value)
    return ""
