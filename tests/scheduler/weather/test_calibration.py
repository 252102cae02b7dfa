"""What a place has taught, applied to chances: bounds, order, and what is not known."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.weather.calibration import Calibrated, Event, calibrated, lead_days
from tests.weather import mild

START = datetime(2026, 5, 4, tzinfo=UTC)
EVENT = Event("met-norway", "members", 6, 0.5, 0)
SHARE = st.floats(0.0, 1.0)


@st.composite
def fits(draw: st.DrawFn) -> Calibrated:
    x = sorted(draw(st.sets(SHARE, min_size=1, max_size=12)))
    y = sorted(draw(st.lists(SHARE, min_size=len(x), max_size=len(x))))
    return Calibrated(EVENT, tuple(x), tuple(y), 130, 25)


@given(fits(), st.lists(SHARE, min_size=1, max_size=40))
def test_a_higher_chance_never_becomes_the_lower_one_and_none_leaves_its_bounds(
    fit: Calibrated, p: list[float]
) -> None:
    told = fit.apply(np.array(sorted(p)))
    assert (np.diff(told) >= 0).all()
    assert ((told >= 0) & (told <= 1)).all()


@given(fits())
def test_a_knot_becomes_its_value(fit: Calibrated) -> None:
    np.testing.assert_allclose(fit.apply(np.array(fit.x)), fit.y, atol=1e-12)


def test_beyond_the_highest_chance_ever_said_the_map_runs_on_to_certainty() -> None:
    fit = Calibrated(EVENT, (0.1, 0.5), (0.05, 0.2), 130, 25)
    np.testing.assert_allclose(fit.apply(np.array([0.0, 0.3, 0.75, 1.0])), [0.0, 0.125, 0.6, 1.0])


def test_a_chance_that_is_not_known_stays_so() -> None:
    fit = Calibrated(EVENT, (0.0, 1.0), (0.0, 0.1), 130, 25)
    told = fit.apply(np.array([np.nan, 1.0]))
    assert np.isnan(told[0])
    assert told[1] == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("x", "y"),
    [
        ((), ()),
        ((0.1,), (0.1, 0.2)),
        ((0.2, 0.1), (0.1, 0.2)),
        ((0.1, 0.1), (0.1, 0.2)),
        ((0.1, 0.2), (0.3, 0.2)),
        ((-0.1, 0.2), (0.1, 0.2)),
        ((0.1, 0.2), (0.1, 1.2)),
        ((0.1, float("nan")), (0.1, 0.2)),
    ],
)
def test_what_is_no_such_map_is_refused(x: tuple[float, ...], y: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="calibration"):
        Calibrated(EVENT, x, y, 130, 25)


def test_the_lead_counts_full_days_since_the_issue() -> None:
    forecast = mild(START, 60).with_(issued=START + timedelta(hours=6))
    lead = lead_days(forecast)
    assert lead[:30].tolist() == [0] * 30
    assert lead[30:54].tolist() == [1] * 24
    assert set(lead[54:].tolist()) == {2}


def test_a_map_counts_for_its_own_feed_method_window_amount_and_lead_only() -> None:
    forecast = mild(START, 72)
    p = np.full(72, 0.4)
    p[5] = np.nan
    fit = Calibrated(EVENT, (0.0, 1.0), (0.0, 0.5), 130, 25)
    told, days = calibrated(p, forecast, "members", 6, 0.5, [fit])
    np.testing.assert_allclose(np.delete(told[:24], 5), 0.2)
    assert np.isnan(told[5])
    assert days[5] == 0
    assert (np.delete(days[:24], 5) == 130).all()
    np.testing.assert_array_equal(told[24:], p[24:])  # nothing is known of the next day's chances
    assert (days[24:] == 0).all()
    for other in (
        calibrated(p, forecast, "hourly probability", 6, 0.5, [fit]),
        calibrated(p, forecast, "members", 8, 0.5, [fit]),
        calibrated(p, forecast, "members", 6, 1.0, [fit]),
        calibrated(p, forecast.with_(provider="nws"), "members", 6, 0.5, [fit]),
    ):
        np.testing.assert_array_equal(other[0], p)
        assert not other[1].any()
