"""Rules of packs on weather and ground."""

import math
from typing import Any

import numpy as np
import pytest

from config.models import Estate, Rules
from tests.scheduler.decide.weather_rules import weather_rule_limits

DRY = np.zeros(72)


def limits(pack: str, **fields: Any) -> dict[tuple[str, str], bool | None]:
    estate = Estate(name="E", rules=Rules(packs=(pack,)))
    base: dict[str, Any] = {"frozen_h_of_24": 0.0, "saturated": False, "snow": False, "rain_ahead_mm": DRY}
    base |= {"heavy_mm_h": 8.0, "heavy_mm_24h": 25.0, "warnings": ()}
    return {
        (x.name, "" if x.name == "weather_warning" else x.unit or x.note): x.ok
        for x in weather_rule_limits(estate, **(base | fields))
    }


def test_a_mild_dry_day_passes_everywhere():
    for pack in ("england", "maryland", "new-jersey", "florida-orange", "new-york"):
        assert all(ok is True for ok in limits(pack).values())
    assert limits("new-york") == {}


def test_england_allows_a_frost_that_thaws():
    # Defra PB12736i: not if frozen for more than 12 h of the previous 24
    assert limits("england", frozen_h_of_24=12.0)["ground", "h of 24 frozen"] is True
    assert limits("england", frozen_h_of_24=13.0)["ground", "h of 24 frozen"] is False
    assert limits("england", frozen_h_of_24=math.nan)["ground", "h of 24 frozen"] is None


def test_maryland_allows_no_frozen_ground():
    # Md. Code, Agriculture 8-803.5
    assert limits("maryland", frozen_h_of_24=1.0)["ground", "h of 24 frozen"] is False


@pytest.mark.parametrize(("state", "ok"), [(True, False), (False, True), (None, None)])
def test_saturated_ground_and_snow(state, ok):
    # Defra PB12736i; N.J.S.A. 58:10A-62 (saturated)
    assert limits("england", saturated=state)["ground", "the ground is saturated"] is ok
    assert limits("england", snow=state)["ground", "snow lies"] is ok
    assert limits("new-jersey", saturated=state)["ground", "the ground is saturated"] is ok


def test_heavy_rain_within_48_hours_in_england():
    # Defra PB12736i (48 h), Met Office: heavy above 4 mm/h
    for hour, ok in [(0, False), (47, False), (48, True)]:
        rain = DRY.copy()
        rain[hour] = 5.0
        assert limits("england", rain_ahead_mm=rain)["heavy_rain", "mm/h"] is ok


def test_two_inches_in_a_day_in_florida():
    # Florida model ordinance: 2 in (50 mm) in 24 h, value from memory
    assert limits("florida-orange", rain_ahead_mm=np.full(24, 2.0))["heavy_rain", "mm in 24 h"] is True
    at_once = np.append(50.0, np.zeros(23))
    assert limits("florida-orange", rain_ahead_mm=at_once)["heavy_rain", "mm in 24 h"] is False
    assert limits("florida-orange", rain_ahead_mm=np.full(24, 2.1))["heavy_rain", "mm in 24 h"] is False


def test_a_law_without_figures_takes_the_products():
    # N.J.S.A. 58:10A-62 names heavy rain, its figure is the State Climatologist's
    rain = np.full(24, 1.2)
    assert limits("new-jersey", rain_ahead_mm=rain)["heavy_rain", "mm in 24 h"] is False
    assert limits("new-jersey", rain_ahead_mm=rain, heavy_mm_24h=40.0)["heavy_rain", "mm in 24 h"] is True


def test_missing_hours_are_not_known_but_too_much_is_too_much():
    rain = DRY.copy()
    rain[3] = np.nan
    assert limits("england", rain_ahead_mm=rain)["heavy_rain", "mm/h"] is None
    assert limits("england", rain_ahead_mm=DRY[:20])["heavy_rain", "mm/h"] is None
    rain[5] = 9.0
    assert limits("england", rain_ahead_mm=rain)["heavy_rain", "mm/h"] is False


def test_weather_warnings_in_orange_county():
    # Orange County Code 15-804: thunderstorm, flood and tropical advisories of the National Weather Service
    for events, ok in [
        (("Flood Watch",), False),
        (("Heat Advisory", "Severe Thunderstorm Warning"), False),
        (("Tropical Storm Watch",), False),
        (("Heat Advisory",), True),
        ((), True),
        (None, None),
    ]:
        assert limits("florida-orange", warnings=events)["weather_warning", ""] is ok
