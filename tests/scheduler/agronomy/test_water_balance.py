"""Soil water: FAO-56 arithmetic, conservation, bounds, and what is known from which start."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from config.models import Lawn
from config.reference_data import soils
from scheduler.agronomy import root_zone as rz
from scheduler.agronomy import water_balance as wb

TEXTURES = list(soils())


def lawn(**fields: Any) -> Lawn:
    base = {"id": "front", "name": "Front", "latitude": 51.5, "longitude": -0.6, "area_m2": 120, "soil": "loam"}
    return Lawn(**(base | fields))


def zone(*names: str, grass: str = "cool", root_m: float | None = None) -> rz.RootZone:
    return rz.root_zones([soils()[name] for name in names or TEXTURES], grass, root_m)


def test_total_available_water():
    # FAO-56 eq. 82: loam (0.25 - 0.12) over 150 mm of roots holds 19.5 mm
    assert rz.total_available_mm(0.25, 0.12, 0.15) == approx(19.5)


def test_marks_of_a_loam_root_zone():
    # FAO-56 eq. 82, 83 with Saxton & Rawls 2006: (0.28 - 0.14) x 150 = 21 mm, 40 % of it with ease
    z = zone("loam", root_m=0.15)
    assert z.total_available == approx([21.0])
    assert z.readily_available == approx([8.4])


def test_stress_coefficient():
    # FAO-56 eq. 84: Ks = (TAW - Dr) / ((1 - p) TAW)
    z = zone("loam", root_m=0.15)
    taw, p = 21.0, 0.4
    for depletion in (0.0, 8.4, 12.0, 18.0, 21.0):
        expected = min(1.0, (taw - depletion) / ((1 - p) * taw))
        assert rz.stress_coefficient(z, z.capacity - depletion) == approx([expected])


def test_drying_slows_as_fao_56_says():
    # FAO-56 eq. 84 integrated in small steps equals the closed form used
    z = zone("loam")
    water = z.capacity.copy()
    for _ in range(20000):
        water = water - rz.stress_coefficient(z, water) * 0.001
    assert rz.dry(z, z.capacity, 20.0) == approx(water, abs=2e-3)


def test_soaked_soil_reaches_field_capacity_in_days():
    # common practice: sand is drained one day after a soaking, loam after two, clay after three (to 95 %)
    z = zone("sand", "loam", "clay")
    for i, days in enumerate((1, 2, 3)):
        left = (rz.drain(z, z.saturation, 24.0 * days) - z.capacity) / (z.saturation - z.capacity)
        assert left[i] == approx(0.05, abs=1e-3)
    dry_soil = z.capacity - 1
    assert rz.drain(z, dry_soil, 24.0) == approx(dry_soil)


@given(texture=st.sampled_from(TEXTURES), demand=st.floats(0, 30), parts=st.integers(1, 48), fill=st.floats(0, 1))
def test_one_step_or_many_give_the_same_water(texture, demand, parts, fill):
    z = zone(texture)
    water = z.wilting + fill * (z.saturation - z.wilting)
    dried, drained = water, water
    for _ in range(parts):
        dried = rz.dry(z, dried, demand / parts)
        drained = rz.drain(z, drained, 24 / parts)
    assert rz.dry(z, water, demand) == approx(dried)
    assert rz.drain(z, water, 24.0) == approx(drained)


weather = st.lists(st.tuples(st.floats(0, 1.2), st.sampled_from([0.0, 0.0, 0.0, 0.4, 3.0, 12.0, 60.0])), max_size=60)


@settings(deadline=None)
@given(
    hours=weather, step_h=st.sampled_from([1.0, 24.0]), fill=st.floats(0, 1), grass=st.sampled_from(["cool", "warm"])
)
def test_water_is_conserved_and_bounded(hours, step_h, fill, grass):
    z = zone(grass=grass)
    begun = wb.at_capacity(z)
    begun = wb.Store(z.wilting + fill * (z.saturation - z.wilting), begun.empty_h, begun.moist_h, begun.dormant)
    et, rain = np.array([h[0] for h in hours]), np.array([h[1] for h in hours])
    balance = wb.run(z, grass, begun, et[:, None], rain[:, None], step_h)
    out = balance.evaporated_mm.sum(0) + balance.drained_mm.sum(0) + balance.ran_off_mm.sum(0)
    assert rain.sum() == approx(balance.last.water_mm - begun.water_mm + out, abs=1e-6)
    for flux in (balance.evaporated_mm, balance.drained_mm, balance.ran_off_mm):
        assert (flux >= -1e-9).all()
    assert (balance.evaporated_mm <= et[:, None] + 1e-9).all()
    assert (balance.water_mm >= z.wilting - 1e-9).all()
    assert (balance.water_mm <= z.saturation + 1e-9).all()


@settings(deadline=None)
@given(hours=weather, wet=st.floats(0, 1), less=st.floats(0, 1), dormant=st.booleans())
def test_every_start_lies_between_both_tracks(hours, wet, less, dormant):
    z = zone()
    et, rain = np.array([h[0] for h in hours])[:, None, None], np.array([h[1] for h in hours])[:, None, None]
    tracks = wb.run(z, "cool", wb.unknown(z, "cool"), et, rain, 24.0)
    water = z.wilting + wet * less * (z.saturation - z.wilting)
    zero = np.zeros_like(water)
    store = wb.Store(water[None], zero[None], zero[None], np.full((1, len(water)), dormant))
    one = wb.run(z, "cool", store, et, rain, 24.0)
    assert (one.water_mm[:, 0] >= tracks.water_mm[:, 0] - 1e-9).all()
    assert (one.water_mm[:, 0] <= tracks.water_mm[:, 1] + 1e-9).all()
    assert (one.state[:, 0] >= tracks.state[:, 0]).all()
    assert (one.state[:, 0] <= tracks.state[:, 1]).all()


def season(rain_each_day: list[float], reference: float = 4.0) -> tuple[np.ndarray, np.ndarray, list[int]]:
    return np.full(len(rain_each_day), reference), np.array(rain_each_day), [7] * len(rain_each_day)


def test_nothing_is_known_at_the_start():
    assert wb.moisture(lawn(), *season([0.0]), step_h=24).now is None


def test_a_soaking_brings_both_tracks_together():
    got = wb.moisture(lawn(), *season([40.0, 5.0, 5.0, 5.0] + [4.0] * 6, 3.0), step_h=24)
    assert got.now == "moist"
    assert got.available_high[-1] - got.available_low[-1] < 0.05


def test_wet_soil_under_rain_is_saturated():
    hours = 6
    got = wb.moisture(lawn(), np.zeros(hours), np.full(hours, 20.0), [11] * hours)
    assert got.now == "saturated"
    assert got.available_low[-1] > 1


def after_a_storm(soil: str) -> wb.Moisture:
    place = lawn(soil=soil)
    return wb.moisture(place, np.zeros(6), np.full(6, 20.0), [11] * 6, start=wb.at_capacity(wb.lawn_zone(place)))


def test_saturated_soil_drains_within_days():
    for soil, still_wet_h, drained_h in [("sand", 1, 24), ("loam", 6, 48), ("clay", 12, 48)]:
        wet = after_a_storm(soil)
        assert wet.now == "saturated"
        later = wb.moisture(lawn(soil=soil), np.full(48, 0.05), np.zeros(48), [11] * 48, start=wet.last)
        assert later.states[still_wet_h - 1] == "saturated"
        assert later.states[drained_h - 1] == "moist"


def test_what_cannot_be_is_told_from_what_may_be():
    dry_week = wb.moisture(lawn(), *season([0.0] * 7, 4.0), step_h=24)
    assert dry_week.now is None
    assert dry_week.is_("saturated") is False
    assert dry_week.is_("dry") is None
    assert after_a_storm("loam").is_("saturated") is True
    assert after_a_storm("loam").is_("drought-dormant") is False


def test_summer_without_rain_dries_then_browns():
    # common practice: unwatered cool-season lawns brown two to three weeks after the last rain
    z = wb.lawn_zone(lawn())
    full = wb.at_capacity(z)
    states = wb.moisture(lawn(), *season([0.0] * 40, 5.0), step_h=24, start=full).states
    assert states[0] == "moist"
    assert "dry" in states
    assert 12 <= states.index("drought-dormant") + 1 <= 24
    assert states[-1] == "drought-dormant"


def test_a_warm_season_lawn_holds_out_longer():
    first = {}
    for grass in ("cool", "warm"):
        place = lawn(grass=grass)
        start = wb.at_capacity(wb.lawn_zone(place))
        first[grass] = wb.moisture(place, *season([0.0] * 60, 5.0), step_h=24, start=start).states.index(
            "drought-dormant"
        )
    assert first["warm"] > first["cool"]


def test_one_shower_does_not_end_dormancy_a_wet_week_does():
    start = wb.at_capacity(wb.lawn_zone(lawn()))
    brown = wb.moisture(lawn(), *season([0.0] * 40, 5.0), step_h=24, start=start).last
    assert wb.moisture(lawn(), *season([15.0]), step_h=24, start=brown).now == "drought-dormant"
    assert wb.moisture(lawn(), *season([15.0] + [6.0] * 9), step_h=24, start=brown).now == "moist"


def test_irrigation_counts_as_rain():
    start = wb.at_capacity(wb.lawn_zone(lawn()))
    watered = wb.moisture(lawn(), *season([0.0] * 20, 4.0), step_h=24, start=start, irrigation_mm=4.0)
    rained = wb.moisture(lawn(), *season([4.0] * 20, 4.0), step_h=24, start=start)
    assert watered.states == rained.states
    assert watered.available_low == approx(rained.available_low)


def test_hours_and_days_agree():
    start = wb.at_capacity(wb.lawn_zone(lawn()))
    by_day = wb.moisture(lawn(), *season([0.0] * 10, 4.8), step_h=24, start=start)
    by_hour = wb.moisture(lawn(), np.full(240, 0.2), np.zeros(240), [7] * 240, start=start)
    assert by_hour.available_low[23::24] == approx(by_day.available_low, abs=1e-6)


@pytest.mark.parametrize("missing", ["rain", "et"])
def test_missing_weather_makes_the_state_unknown(missing):
    start = wb.at_capacity(wb.lawn_zone(lawn()))
    et, rain, months = season([0.0] * 6, 4.0)
    (rain if missing == "rain" else et)[2] = np.nan
    got = wb.moisture(lawn(), et, rain, months, step_h=24, start=start)
    assert got.states[1] is not None
    assert got.states[2] is None
    assert (got.available_low <= got.available_high).all()


def test_soil_that_is_not_stated_is_known_only_where_all_textures_agree():
    wet = wb.moisture(lawn(soil=None), *season([30.0] * 5 + [3.0] * 5, 2.0), step_h=24)
    assert wet.now == "moist"
    dry_days = wb.moisture(lawn(soil=None), *season([0.0] * 8, 4.0), step_h=24, start=wet.last)
    assert dry_days.states[1] is None  # sand is dry, silt loam is not
    assert dry_days.states[4] == "dry"


def test_crop_coefficients_by_month_and_hemisphere():
    # Meyer et al. 1985 (University of California): cool-season April 1.04, warm-season May 0.79
    assert wb.coefficients("cool", [4]) == approx([1.04])
    assert wb.coefficients("warm", [5]) == approx([0.79])
    assert wb.coefficients("cool", [10], southern=True) == approx([1.04])
    # the sheet's own months average 0.79 and 0.65, whatever year it prints
    assert wb.coefficients("cool", range(1, 13)).mean() == approx(0.79, abs=5e-3)
    assert wb.coefficients("warm", range(1, 13)).mean() == approx(0.65, abs=5e-3)


def test_no_hours_no_state():
    got = wb.moisture(lawn(), np.zeros(0), np.zeros(0), [])
    assert (got.now, got.states) == (None, ())
