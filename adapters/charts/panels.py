"""The weather under the windows: rain chance, rain amount, wind and temperature, each a panel over the same hours."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from adapters.charts.ink import COLOUR, GREY, RAIN, WARMTH, WIND, words
from scheduler.agronomy import units as u
from scheduler.outlook import Outlook
from scheduler.weather.forecast import HOUR, Floats, Forecast


@dataclass(frozen=True)
class Panel:
    """A title, a word at the right, the span and ticks of its axis, and what is drawn."""

    title: str
    aside: str
    span: tuple[float, float]
    ticks: Sequence[float]
    draw: Callable[[Any], None]


def panels_for(told: Outlook) -> list[Panel]:
    """The panels of a lawn's cell; none where no forecast is known."""
    forecast = told.cell.forecast
    if forecast is None:
        return []
    at: Floats = (forecast.start - told.start) / HOUR + np.arange(forecast.hours, dtype=np.float64)
    shown = (at > -1) & (at < (told.end - told.start) / HOUR)
    us = told.estate.units == "us"
    return [
        _chance(forecast, at, shown),
        _amount(told, forecast, at, shown, us),
        _wind(told, forecast, at, shown, us),
        _temperature(told, forecast, at, shown, us),
    ]


def chance_of_rain(forecast: Forecast) -> Floats:
    """Chance of rain in each hour (or its period), fractions: the feed's, else the share of its members. (hours,)"""
    if np.isfinite(forecast.chance).any() or forecast.members_mm is None:
        return forecast.chance
    members = forecast.members_mm
    share: Floats = np.where(np.isnan(members).any(axis=0), np.nan, (members >= forecast.chance_mm).mean(axis=0))
    return share


def _steps(axes: Any, at: Floats, value: Floats, **style: Any) -> None:
    """A line that keeps its value through each hour; gaps where nothing is known."""
    axes.step(np.append(at, at[-1] + 1), np.append(value, value[-1]), where="post", **style)


def _chance(forecast: Forecast, at: Floats, shown: Any) -> Panel:
    value = 100.0 * chance_of_rain(forecast)

    def draw(axes: Any) -> None:
        if np.isfinite(value[shown]).any():
            axes.fill_between(
                np.append(at, at[-1] + 1), np.append(value, value[-1]), step="post", color=RAIN, alpha=0.22
            )
            _steps(axes, at, value, color=RAIN, linewidth=1.4)
        else:
            words(axes, 1, 40, "not given by this feed", fontsize=10, color=GREY)

    return Panel("Chance of rain, %", "in the hour", (0, 118), (0, 50, 100), draw)


def _amount(told: Outlook, forecast: Forecast, at: Floats, shown: Any, us: bool) -> Panel:
    value = np.array([u.in_from_mm(mm) for mm in forecast.rain_mm]) if us else forecast.rain_mm
    most = float(np.nanmax(value[shown], initial=0.0))
    top = max(most * 1.4, 0.1 if us else 2.0)  # room for the figures above the bars
    sums = _sums(told, at, value)

    def draw(axes: Any) -> None:
        axes.bar(at, np.nan_to_num(value), width=1.0, align="edge", color=RAIN, linewidth=0)
        for middle, amount in sums:
            text = f"{amount:.2f} in" if us else f"{amount:.0f} mm" if amount >= 10 else f"{amount:.1f} mm"
            text = text if amount >= 0.005 else "0"
            words(axes, middle, top * 0.96, text, fontsize=9.5, ha="center", va="top", color=RAIN, weight="bold")

    return Panel(f"Rain, {'in' if us else 'mm'} an hour", "figure: sum of the day", (0, top), _nice(0, top), draw)


def _sums(told: Outlook, at: Floats, value: Floats) -> list[tuple[float, float]]:
    """The middle of each day and the rain of the part of it that is forecast and lies ahead."""
    edges = [(when - told.start) / HOUR for when in told.midnights]
    now = (told.now - told.start) / HOUR
    found = []
    for a, b in zip(edges, edges[1:], strict=False):
        inside = (at >= max(a, now - 1)) & (at < b) & np.isfinite(value)
        if inside.any():
            found.append(((a + b) / 2, float(value[inside].sum())))
    return found


def _wind(told: Outlook, forecast: Forecast, at: Floats, shown: Any, us: bool) -> Panel:
    say = u.mph_from_m_s if us else u.km_h_from_m_s
    mean = np.array([say(x) for x in forecast.wind_m_s])
    gust = np.array([say(x) for x in forecast.gust_m_s])
    limits = [say(bound) if bound else None for bound in _bounds(told, "wind", "wind_m_s")]
    most = float(np.nanmax(np.concatenate([mean[shown], gust[shown]]), initial=limits[1] or 0.0))
    top = max(most * 1.15, 10.0)

    def draw(axes: Any) -> None:
        _steps(axes, at, gust, color=GREY, linewidth=0.9, linestyle=(0, (1, 1)))
        _steps(axes, at, mean, color=WIND, linewidth=1.4)
        _dashes(axes, limits)

    aside = f"line: mean; dots: gusts{_said(limits)}"
    return Panel(f"Wind at 10 m, {'mph' if us else 'km/h'}", aside, (0, top), _nice(0, top), draw)


def _bounds(told: Outlook, name: str, field: str) -> tuple[float | None, float | None]:
    """The narrowest range of a limit that all due products allow, in the forecast's own terms (wind at 10 m)."""
    lows, highs = [], []
    for strip in told.strips:
        found = ((hour, x) for hour in strip.hours for x in hour.limits if x.name == name)
        for hour, limit in found:
            value = getattr(hour, field)
            if value and limit.value:  # the limit may speak of the wind at another height
                factor = value / limit.value
                lows += [limit.allowed[0] * factor] if limit.allowed[0] is not None else []
                highs += [limit.allowed[1] * factor] if limit.allowed[1] is not None else []
                break
    return max(lows, default=None), min(highs, default=None)


def _dashes(axes: Any, limits: Sequence[float | None]) -> None:
    for limit in limits:
        if limit is not None:
            axes.axhline(limit, color=COLOUR["hold"], linewidth=1.1, linestyle=(0, (5, 2)))


def _said(limits: Sequence[float | None]) -> str:
    """ "; dashes: allowed 3 to 20"."""
    low, high = (None if x is None else f"{x:.0f}" for x in limits)
    if low is None and high is None:
        return ""
    return "; dashes: allowed " + (f"{low} to {high}" if low and high else f"up to {high}" if high else f"from {low}")


def _temperature(told: Outlook, forecast: Forecast, at: Floats, shown: Any, us: bool) -> Panel:
    value = np.array([u.f_from_c(c) for c in forecast.temperature_c]) if us else forecast.temperature_c
    bounds = _bounds(told, "temperature", "temperature_c")
    limits = [None if x is None else u.f_from_c(x) if us else x for x in bounds]
    known = value[shown & np.isfinite(value)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 20.0)
    low, high = low - 2.0, high + 2.0

    def draw(axes: Any) -> None:
        axes.plot(at, value, color=WARMTH, linewidth=1.4)
        _dashes(axes, limits)

    aside = f"{known.min():.0f} to {known.max():.0f}{_said(limits)}" if known.size else ""
    return Panel(f"Temperature, {'°F' if us else '°C'}", aside, (low, high), _nice(low, high), draw)


def _nice(low: float, high: float) -> list[float]:
    """Two or three round numbers inside a span, clear of its upper end."""
    from matplotlib.ticker import MaxNLocator

    top = high - 0.12 * (high - low)
    return [float(t) for t in MaxNLocator(3, steps=[1, 2, 5, 10]).tick_values(low, high) if low <= t <= top]
