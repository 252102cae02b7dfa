"""Rain after an application: the chances and amounts that each start hour faces, by the best data the feed gives."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from config.models import Form
from config.resolve import ProductLimits
from scheduler.decide.sky import Sky
from scheduler.weather import chance as ch
from scheduler.weather.calibration import Calibrated, calibrated
from scheduler.weather.forecast import Floats, Forecast, Ints
from scheduler.weather.rolling import rolling_max, rolling_sum

# What a random day does, mixed in by the doubt that a single run is wrong altogether. Shipped figures: counted over
# Boston 1996-2015, NOAA hourly observations: 8 h at or above 0.5 mm; from 09:00, March to November, dissolved (2-12 mm,
# no hour above 8 mm, no 24 h above 25 mm), too dry, too heavy, within 48 h and within 72 h.
CLIMATE_WET = 0.158
CLIMATE_BAND_48_H = (0.209, 0.624, 0.167)
CLIMATE_BAND_72_H = (0.259, 0.492, 0.249)


@dataclass(frozen=True)
class RainRisk:
    """Per start hour, (hours,) each; None where the form does not ask. NaN: not known.

    `washed_off` is the chance for a start at the hour's beginning; `washed_off_by_end` the larger of that and the
    chance for a start at the hour's end, so that it holds for every start in the hour. Amounts likewise.
    """

    method: str
    washed_off: Floats | None = None
    said: Floats | None = None  # `washed_off` as the feed says it, before the place's calibration
    calibrated_days: Ints | None = None  # mornings behind the calibration, 0 where there is none
    washed_off_by_end: Floats = field(default_factory=lambda: np.empty(0))
    amount_by_end_mm: Floats = field(default_factory=lambda: np.empty(0))
    dissolved: Floats | None = None
    too_dry: Floats | None = None
    too_heavy: Floats | None = None
    worst_hour_mm: Floats = field(default_factory=lambda: np.empty(0))
    worst_day_mm: Floats = field(default_factory=lambda: np.empty(0))


def rain_risk(sky: Sky, form: Form, limits: ProductLimits, known: Sequence[Calibrated] = ()) -> RainRisk:
    """The chances for one form: from members, else from hourly probabilities, else from amounts with spread.

    `known` is what the place has taught; of it counts what is of this feed, method, window and amount.
    """
    forecast = sky.forecast
    members, weights, doubt = sky.members
    fields: dict[str, Any] = {}
    method = "members" if forecast.members_mm is not None else "amounts with spread"
    if limits.dry_for_h is not None and form != "granular":
        hours, wet = int(np.ceil(limits.dry_for_h.number)), limits.wet_mm.number
        said, method = wet_window(sky, hours, wet)
        washed, days = calibrated(said, forecast, method, hours, wet, known)
        amount = _amount_in(forecast, hours)
        fields |= {"washed_off": washed, "washed_off_by_end": _worst_of_hour(washed)}
        fields |= {"said": said, "calibrated_days": days, "amount_by_end_mm": _worst_of_hour(amount)}
    if form != "liquid" and limits.rain_band_mm and limits.dissolve_h and limits.heavy_mm_h and limits.heavy_mm_24h:
        hours = int(np.ceil(limits.dissolve_h.number))
        low, high = limits.rain_band_mm.value
        heavy = (limits.heavy_mm_h.number, limits.heavy_mm_24h.number)
        shares = sky.band(hours, low, high, *heavy)
        names = ("dissolved", "too_dry", "too_heavy")
        climates = CLIMATE_BAND_48_H if hours <= 48 else CLIMATE_BAND_72_H
        fields |= {
            name: ch.mix_climate(share, doubt, climate)
            for name, share, climate in zip(names, shares, climates, strict=True)
        }
        fields |= {"worst_hour_mm": rolling_max(forecast.rain_mm, hours)}
        fields |= {"worst_day_mm": worst_day_mm(forecast.rain_mm, hours)}
    return RainRisk(method=method, **fields)


def wet_window(sky: Sky, hours: int, wet_mm: float) -> tuple[Floats, str]:
    """Chance of `wet_mm` or more in the `hours` hours from each start, (hours,), as the feed says it, and by what."""
    forecast = sky.forecast
    members, weights, doubt = sky.members
    by_amount = ch.mix_climate(ch.members_window_chance(members, weights, hours, wet_mm), doubt, CLIMATE_WET)
    if forecast.members_mm is not None:
        return by_amount, "members"
    if not np.isfinite(forecast.chance).any():
        return by_amount, "amounts with spread"
    wet = ch.window_chance(forecast.chance, forecast.period_start, hours, ch.rho_for(wet_mm, hours))
    # Past the end of a feed's probabilities its amounts speak; a hole before the end stays not known.
    given = np.flatnonzero(np.isfinite(forecast.chance))[-1]
    hole = np.isnan(forecast.chance) & (np.arange(forecast.hours) < given)
    whole = rolling_sum(hole.astype(float), hours) == 0.0
    return np.where(np.isnan(wet) & whole, by_amount, wet), "hourly probability"


def _amount_in(forecast: Forecast, hours: int) -> Floats:
    """Most rain that the forecast itself puts into the `hours` hours from each start [mm].

    A period longer than an hour that the window touches counts whole: nobody knows in which of its hours it rains.
    The upper likely amount is used where a feed gives one.
    """
    rain = np.fmax(forecast.rain_mm, forecast.rain_high_mm)
    rain = np.where(np.isnan(forecast.rain_mm), np.nan, rain)
    total = rolling_sum(rain, hours)
    length = np.bincount(forecast.period_start, minlength=forecast.hours)[forecast.period_start]
    if length.max(initial=1) == 1:
        return np.asarray(total)
    whole = np.where(length > 1, rain * length, rain)
    index = np.arange(forecast.hours)
    is_start = forecast.period_start == index
    starts_in = rolling_sum(np.where(np.isnan(rain), np.nan, np.where(is_start, whole, 0.0)), hours)
    cut = np.where(is_start, 0.0, whole)  # the period that the window's first hour cuts into
    return np.asarray(starts_in + cut)


def _worst_of_hour(values: Floats) -> Floats:
    """The larger of a start at the hour's beginning and one at its end; not known at the end counts as not known."""
    return np.asarray(np.maximum(values, np.append(values[1:], np.nan)))


def worst_day_mm(rain: Floats, hours: int) -> Floats:
    """Largest 24 h amount inside the `hours` hours from each start [mm]."""
    day = rolling_sum(rain, min(24, hours))
    return np.asarray(rolling_max(day, max(1, hours - 24 + 1)))
