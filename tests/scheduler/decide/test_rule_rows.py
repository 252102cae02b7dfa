"""Local rules on weather over all hours, against the judge of one hour."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.defaults import defaults
from config.models import Estate, Product, Rules
from config.packs import pack_names
from config.resolve import product_limits
from scheduler.decide.rule_rows import rule_rows
from scheduler.weather.surface import frozen_hours, rain_before_mm
from tests.scheduler.decide.weather_rules import weather_rule_limits
from tests.weather import mild

START = datetime(2026, 5, 4, tzinfo=UTC)
SHEET = Product.model_validate({"id": "p", "name": "P", "form": "granular", "rate_g_m2": 20, "analysis": "10-0-5"})


@given(st.sampled_from(pack_names()), st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_every_hour_is_judged_as_the_plain_judge_judges_it(pack: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    rain = np.where(rng.random(120) < 0.2, rng.gamma(0.6, 4.0, 120), 0.0)
    rain[rng.random(120) < 0.01] = np.nan
    forecast = mild(START, 120, rain_mm=rain, temperature_c=rng.normal(1.0, 3.0, 120))
    rows = rule_rows(forecast, Rules(packs=(pack,)), product_limits(SHEET), ())
    frozen, soaked = frozen_hours(forecast), rain_before_mm(forecast)
    most = defaults("ground")["saturated_mm"].number
    for at in range(0, 60, 7):
        wanted = weather_rule_limits(
            Estate(name="E", rules=Rules(packs=(pack,))), frozen_h_of_24=float(frozen[at]),
            saturated=bool(soaked[at] > most), snow=None, rain_ahead_mm=rain[at:], heavy_mm_h=8.0, heavy_mm_24h=25.0,
            warnings=(),
        )  # fmt: skip
        judged = [limit for limit in wanted if limit.note != "snow lies"]
        found = [row for row in rows if row.unit != "snow"]
        assert len(judged) == len(found)
        for limit, row in zip(judged, found, strict=True):
            assert row.source == limit.source
            if limit.ok is not None:
                assert bool(row.ok[at]) == limit.ok or not row.known[at]
            assert not (row.ok[at] and limit.ok is not True)


@pytest.mark.parametrize(("event", "stopped"), [("Flood Watch", True), ("Small Craft Advisory", False)])
def test_a_warning_stops_its_own_hours_only(event: str, stopped: bool) -> None:
    # Florida county codes: nothing under a flood or tropical storm watch or warning
    forecast = mild(START, 48)
    spell = [(event, START + timedelta(hours=5, minutes=30), START + timedelta(hours=9, minutes=10))]
    rows = rule_rows(forecast, Rules(packs=("florida-orange",)), product_limits(SHEET), spell)
    (row,) = [row for row in rows if row.name == "weather_warning"]
    assert np.flatnonzero(~row.ok).tolist() == ([5, 6, 7, 8, 9] if stopped else [])


def test_unasked_warnings_are_not_known_and_say_what_to_look_for() -> None:
    rows = rule_rows(mild(START, 24), Rules(packs=("florida-orange",)), product_limits(SHEET), None)
    (row,) = [row for row in rows if row.name == "weather_warning"]
    assert not row.known.any()
    assert row.passes.all()
    assert "look" in row.note
