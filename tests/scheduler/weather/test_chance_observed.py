"""Window chances against what was observed at three airports (NOAA, 2013)."""

import numpy as np
import pytest

from scheduler.weather.chance import rho_for, window_chance
from scheduler.weather.rolling import rolling_max, rolling_sum
from tests.observed import STATIONS, new_york


def monthly_chance(rain, times):
    """Each hour's chance of >= 0.2 mm: the frequency of its month (a year is too short for month and hour)."""
    wet = np.where(np.isnan(rain), np.nan, rain >= 0.2)
    month = times.astype("datetime64[M]").astype(int)
    return np.array([np.nanmean(wet[month == m]) for m in np.unique(month)])[month - month.min()]


@pytest.mark.parametrize("station", STATIONS)
@pytest.mark.parametrize("hours", [6, 8])
@pytest.mark.parametrize("wet_mm", [0.2, 0.5])
def test_windows_are_wet_as_often_as_said(station, hours, wet_mm):
    rain, times = new_york(station)
    p, each = monthly_chance(rain, times), np.arange(len(rain))
    total = rolling_sum(rain, hours)
    known = ~np.isnan(total)
    wet = total[known] >= wet_mm - 1e-9
    said = window_chance(p, each, hours, rho_for(wet_mm, hours))[known]
    assert abs(said.mean() - wet.mean()) <= 0.01
    highest, independent = rolling_max(p, hours)[known], window_chance(p, each, hours, 0.0)[known]
    brier = {name: np.mean((x - wet) ** 2) for name, x in (("s", said), ("h", highest), ("i", independent))}
    assert brier["s"] < brier["h"] and brier["s"] < brier["i"]


@pytest.mark.parametrize("station", STATIONS)
def test_blocks_of_six_hours_give_the_same_chance_of_a_wet_day(station):
    # A feed that speaks of six hours at a time must not make a day wetter or drier than one that speaks hour by hour.
    rain, _ = new_york(station)
    whole = rain[: len(rain) // 24 * 24].reshape(-1, 4, 6)
    whole = whole[~np.isnan(whole).any(axis=(1, 2))]
    block_wet = (whole >= 0.2).any(axis=2)
    p = np.repeat(block_wet.mean(axis=0), 6)
    said = window_chance(p, np.repeat([0, 6, 12, 18], 6), 24, rho_for(0.2, 24))[0]
    assert said == pytest.approx(block_wet.any(axis=1).mean(), abs=0.03)
