"""Ensembles of Open-Meteo: members counted once each, and joined to a forecast. open-meteo.com/en/docs/ensemble-api."""

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from adapters.feeds.asking import endpoint
from adapters.feeds.ensemble import OpenMeteoEnsemble, combine, member_keys
from config.models import Feed
from scheduler.ports import FeedUnavailable, FeedUnusable
from scheduler.weather.forecast import Forecast
from tests.adapters.feeds.answers import LATITUDE, LONGITUDE, Values, body, met_norway_answer, weather
from tests.adapters.feeds.answers_other import ensemble_answer
from tests.adapters.feeds.test_met_norway import parse as parse_met

NOW = datetime(2026, 5, 4, 5, 20, tzinfo=UTC)
TABLE = weather("2026-05-04T00:00", 48)


def rain(*hours: int) -> Values:
    """A member with 2 mm in each of `hours`."""
    return [2.0 if t in hours else 0.0 for t in range(48)]


def parse(answer: Any) -> Forecast:
    return OpenMeteoEnsemble().parse(body(answer), latitude=LATITUDE, longitude=LONGITUDE, received=NOW)


def members_of(forecast: Forecast) -> Any:
    assert forecast.members_mm is not None
    return forecast.members_mm


def test_each_member_is_counted_once_with_the_control_run_among_them() -> None:
    forecast = parse(ensemble_answer(TABLE, [rain(3), rain(3), rain(), rain(9)]))
    three = forecast.index(datetime(2026, 5, 4, 3, tzinfo=UTC))
    assert members_of(forecast).shape == (4, forecast.hours)
    assert members_of(forecast)[:, three].tolist() == [2.0, 2.0, 0.0, 0.0]  # stamped 04:00: the hour before
    assert forecast.rain_mm[three] == 1.0
    assert forecast.chance[three] == 0.5


def test_members_with_a_model_in_their_names_are_the_same() -> None:
    answer = ensemble_answer(TABLE, [rain(3), rain(4)], suffix="_ecmwf_ifs025_ensemble")
    assert len(members_of(parse(answer))) == 2


def test_two_models_give_all_their_members() -> None:
    one = ensemble_answer(TABLE, [rain(3)] * 3, suffix="_icon_seamless_eps")
    two = ensemble_answer(TABLE, [rain(4)] * 2, suffix="_ecmwf_ifs025_ensemble")
    one["hourly"] |= two["hourly"]
    one["hourly_units"] |= two["hourly_units"]
    assert len(members_of(parse(one))) == 5


def test_a_spread_or_a_mean_is_no_member() -> None:
    answer = ensemble_answer(TABLE, [rain(3)])
    answer["hourly"]["precipitation_spread"] = [None, *rain(1)]
    answer["hourly_units"]["precipitation_spread"] = "mm"
    with pytest.raises(FeedUnusable, match="no members"):
        parse(answer)
    names = [
        "precipitation",
        "precipitation_spread",
        "precipitation_member01",
        "precipitation_probability",
        "rain_member01",
    ]
    assert member_keys(dict.fromkeys(names), "precipitation") == ["precipitation", "precipitation_member01"]


def test_a_member_without_values_is_left_out_and_one_with_gaps_is_kept() -> None:
    gap: Values = [None, *rain(3)[1:]]
    forecast = parse(ensemble_answer(TABLE, [rain(3), [None] * 48, gap]))
    assert len(members_of(forecast)) == 2
    first = forecast.index(TABLE.start)
    assert np.isnan(forecast.rain_mm[first])
    assert np.isnan(forecast.chance[first])
    with pytest.raises(FeedUnusable, match="no member"):
        parse(ensemble_answer(TABLE, [[None] * 48] * 3))


@pytest.mark.parametrize(("value", "why"), [(-0.1, "cannot be weather"), (411.0, "cannot be weather"), ("2", "number")])
def test_one_bad_number_refuses_the_whole(value: Any, why: str) -> None:
    answer = ensemble_answer(TABLE, [rain(3), rain()])
    answer["hourly"]["precipitation_member01"][5] = value
    with pytest.raises(FeedUnusable, match=why):
        parse(answer)


def test_an_unknown_unit_or_too_many_members_refuse_the_whole() -> None:
    answer = ensemble_answer(TABLE, [rain(3), rain()])
    answer["hourly_units"]["precipitation_member01"] = "inch"
    with pytest.raises(FeedUnusable, match="unit"):
        parse(answer)
    with pytest.raises(FeedUnusable, match="more than"):
        parse(ensemble_answer(TABLE, [rain()] * 201))


def test_a_forecast_takes_the_members_hour_by_hour() -> None:
    forecast = parse_met(met_norway_answer(weather("2026-05-04T05:00", 72)))
    joined = combine(forecast, parse(ensemble_answer(TABLE, [rain(9), rain()])))
    nine = joined.index(datetime(2026, 5, 4, 9, tzinfo=UTC))
    members = members_of(joined)
    assert members.shape == (2, forecast.hours)
    assert members[:, nine].tolist() == [2.0, 0.0]
    last = joined.index(datetime(2026, 5, 5, 23, tzinfo=UTC))
    assert np.isfinite(members[:, : last + 1]).all()
    assert np.isnan(members[:, last + 1 :]).all()  # beyond the ensemble nothing is claimed
    np.testing.assert_array_equal(joined.rain_mm, forecast.rain_mm)
    assert "MET Norway" in joined.attribution
    assert "Open-Meteo" in joined.attribution


def test_an_ensemble_of_other_hours_or_none_changes_nothing() -> None:
    forecast = parse_met(met_norway_answer(weather("2026-05-08T05:00", 72), issued=NOW))
    assert combine(forecast, parse(ensemble_answer(TABLE, [rain(9), rain()]))) is forecast
    assert combine(forecast, forecast) is forecast


@pytest.mark.parametrize(
    ("given", "asked"),
    [
        (None, "https://ensemble-api.open-meteo.com/v1/ensemble"),
        ("https://customer-api.open-meteo.com/v1?apikey=k", "https://customer-ensemble-api.open-meteo.com/v1/ensemble"),
        ("https://wx.example.org", "https://wx.example.org/v1/ensemble"),
    ],
)
def test_the_ensemble_lies_beside_the_forecast(given: str | None, asked: str) -> None:
    feed = Feed(urls={"open-meteo": given} if given else {}, ensemble="ecmwf_ifs025_ensemble", non_commercial=True)
    found = endpoint("open-meteo-ensemble", feed, {})
    assert found.url == asked
    assert dict(found.query)["models"] == "ecmwf_ifs025_ensemble"
    assert ("apikey" in dict(found.query)) == bool(given and "apikey" in given)


def test_without_a_model_or_the_right_to_ask_there_is_no_ensemble() -> None:
    with pytest.raises(FeedUnavailable, match="no model"):
        endpoint("open-meteo-ensemble", Feed(non_commercial=True), {})
    with pytest.raises(FeedUnavailable, match="non-commercial"):
        endpoint("open-meteo-ensemble", Feed(ensemble="x"), {})
