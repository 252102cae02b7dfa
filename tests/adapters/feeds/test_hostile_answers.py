"""Answers that must never become a forecast, whichever feed they come from."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from adapters.feeds.registry import feed_named
from scheduler.ports import FeedUnusable
from tests.adapters.feeds.answers import (
    LATITUDE,
    LONGITUDE,
    Weather,
    body,
    met_norway_answer,
    open_meteo_answer,
    weather,
)
from tests.adapters.feeds.answers_other import bright_sky_answer, ensemble_answer, nws_answer

NOW = datetime(2026, 5, 4, 5, 20, tzinfo=UTC)
TABLE = weather("2026-05-04T00:00", 96, rain_mm={9: 1.25})

BUILD: dict[str, Callable[[Weather], Any]] = {
    "open-meteo": open_meteo_answer,
    "met-norway": met_norway_answer,
    "nws": nws_answer,
    "bright-sky": bright_sky_answer,
    "open-meteo-ensemble": lambda table: ensemble_answer(table, [table["rain_mm"]] * 3),
}
GOOD = {provider: lambda build=build: build(TABLE) for provider, build in BUILD.items()}
FEEDS = sorted(GOOD)
WHOLE = sorted(set(FEEDS) - {"open-meteo-ensemble"})  # those that give more than rain


def parse(provider: str, raw: bytes) -> object:
    return feed_named(provider).parse(raw, latitude=LATITUDE, longitude=LONGITUDE, received=NOW)


def refused(provider: str, raw: bytes, why: str) -> None:
    with pytest.raises(FeedUnusable, match=why) as caught:
        parse(provider, raw)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize("provider", FEEDS)
@pytest.mark.parametrize(
    ("raw", "why"),
    [
        (b"", "cut short or not JSON"),
        (b"null", "."),
        (b"[]", "."),
        (b"3", "."),
        (b'"forecast"', "."),
        (b"{}", "."),
        (b"<!doctype html><title>busy</title>", "web page"),
        (b"  <html>", "web page"),
        (b"\xff\xfe{}", "not JSON"),
        (b"\x1f\x8b\x08\x00", "not JSON"),
        (b"[" * 99_000, "cannot be read"),
        (b"[" * 200_000, "larger than any"),
        (b'{"a":' * 99_000, "cannot be read"),
        (b"9" * 5000, "cannot be read"),
        (b'{"latitude":nan,"longitude":nan}', "cannot be read"),
        (b'{"latitude":NaN}', "NaN"),
        (b'{"latitude":-Infinity}', "Infinity"),
        (b'{"latitude":1e400}', "without bounds"),
        (b'{"latitude":51.48,"latitude":51.48}', "one key twice"),
        (b" " * 8_000_001, "larger than any"),
        (b'{"error":true,"reason":"invented"}', "."),
    ],
)
def test_what_is_not_a_forecast_is_refused(provider: str, raw: bytes, why: str) -> None:
    refused(provider, raw, why)


@pytest.mark.parametrize("provider", FEEDS)
def test_the_good_answer_is_read(provider: str) -> None:
    assert parse(provider, body(GOOD[provider]())) is not None


@pytest.mark.parametrize("provider", FEEDS)
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.999])
def test_an_answer_cut_short_is_refused(provider: str, share: float) -> None:
    raw = body(GOOD[provider]())
    refused(provider, raw[: int(len(raw) * share)], "cut short")


@pytest.mark.parametrize("provider", FEEDS)
@pytest.mark.parametrize(
    ("value", "why"),
    [
        ("NaN", "NaN"),
        ("Infinity", "Infinity"),
        ("1e400", "without bounds"),
        ("9" * 5000, "cannot be read"),
        ("9" * 4000, "cannot be weather"),
        ('"1.25"', "not a number"),
        ("true", "not a number"),
        ("[1.25]", "not a number"),
        ("-0.5", "cannot be weather"),
        ("5000.0", "cannot be weather"),
    ],
)
def test_a_rain_amount_that_is_no_amount_refuses_the_whole(provider: str, value: str, why: str) -> None:
    raw = body(GOOD[provider]())
    assert b"1.25" in raw
    refused(provider, raw.replace(b"1.25", value.encode(), 1), why)


@pytest.mark.parametrize("provider", WHOLE)
@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("temperature_c", 66.0),
        ("temperature_c", -96.0),
        ("humidity_pct", 106.0),
        ("wind_m_s", -1.0),
        ("gust_m_s", 151.0),
    ],
)
def test_weather_that_does_not_exist_refuses_the_whole(provider: str, field: str, value: float) -> None:
    table = weather("2026-05-04T00:00", 96, **{field: {9: value}})
    refused(provider, body(BUILD[provider](table)), field)


@pytest.mark.parametrize("chance", [-0.01, 1.01, 100.0])
@pytest.mark.parametrize("provider", WHOLE)
def test_a_probability_beyond_certainty_refuses_the_whole(provider: str, chance: float) -> None:
    table = weather("2026-05-04T00:00", 96, chance={9: chance})
    refused(provider, body(BUILD[provider](table)), "cannot be weather")


@pytest.mark.parametrize("provider", FEEDS)
def test_hours_further_ahead_than_any_forecast_refuse_the_whole(provider: str) -> None:
    answer = BUILD[provider](weather("2026-06-25T00:00", 96))
    if provider == "met-norway":
        answer["properties"]["meta"]["updated_at"] = "2026-05-04T05:00:00Z"
    if provider == "nws":
        answer["properties"]["updateTime"] = "2026-05-04T05:00:00+00:00"
    refused(provider, body(answer), "days ahead|issue time")


def test_a_grid_that_reaches_further_than_any_forecast_is_refused() -> None:
    answer = nws_answer(weather("2026-05-04T00:00", 24 * 60))
    refused("nws", body(answer), "days ahead")


def _times(answer: Any) -> list[Any]:
    """The stamps of either answer, as the list that can be changed."""
    found: list[Any] = answer["hourly"]["time"]
    return found


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda t: t.__setitem__(5, t[4]), "order"),
        (lambda t: t.__setitem__(5, t[9]), "order"),
        (lambda t: t.reverse(), "order"),
        (lambda t: t.__setitem__(5, t[5] + 60), "whole UTC hours"),
        (lambda t: t.__setitem__(5, t[5] + 0.5), "whole UTC hours"),
        (lambda t: t.__setitem__(5, None), "time"),
        (lambda t: t.__setitem__(5, "2026-05-04T05:00"), "time"),
        (lambda t: t.__setitem__(5, True), "time"),
        (lambda t: t.__setitem__(5, 10**17), "time"),
        (lambda t: t.__setitem__(-1, t[-1] + 90 * 86400), "hours"),
        (lambda t: t.__setitem__(-1, t[-1] + 60 * 86400), "days ahead"),
        (lambda t: t.pop(), "values"),
        (lambda t: t.clear(), "no hours"),
    ],
)
def test_columnar_times_that_make_no_sense_are_refused(change: Callable[[list[Any]], Any], why: str) -> None:
    answer = open_meteo_answer(TABLE)
    change(_times(answer))
    refused("open-meteo", body(answer), why)


def test_columns_of_unequal_length_are_refused() -> None:
    answer = open_meteo_answer(TABLE)
    answer["hourly"]["wind_speed_10m"].pop()
    refused("open-meteo", body(answer), "wind_speed_10m")


def test_local_stamps_at_a_half_hour_offset_are_refused() -> None:
    refused(
        "open-meteo", body(open_meteo_answer(TABLE, iso=True, offset_s=19800) | {"utc_offset_seconds": 0}), "whole UTC"
    )


@pytest.mark.parametrize(
    ("index", "time", "why"),
    [
        (5, "2026-05-04T04:00:00Z", "order"),
        (5, "2026-05-04T03:00:00Z", "order"),
        (5, "2026-05-04T05:30:00Z", "whole UTC hours"),
        (5, "2026-05-04T05:00:00", "time"),
        (5, "yesterday", "time"),
        (5, 1777870800, "time"),
        (5, None, "time"),
        (-1, "2026-08-01T00:00:00Z", "hours"),
        (-1, "2026-07-01T00:00:00Z", "days ahead"),
        (0, "0001-01-01T00:00:00+14:00", "time"),
    ],
)
def test_steps_whose_times_make_no_sense_are_refused(index: int, time: Any, why: str) -> None:
    answer = met_norway_answer(TABLE)
    answer["properties"]["timeseries"][index]["time"] = time
    refused("met-norway", body(answer), why)


@pytest.mark.parametrize("path", ["data", "data.instant", "data.instant.details", "data.next_1_hours"])
@pytest.mark.parametrize("value", [None, [], "x", 3])
def test_steps_whose_parts_are_no_parts_are_refused(path: str, value: Any) -> None:
    answer = met_norway_answer(TABLE)
    target = answer["properties"]["timeseries"][4]
    *above, last = path.split(".")
    for name in above:
        target = target[name]
    target[last] = value
    refused("met-norway", body(answer), ".")


def test_more_steps_than_any_forecast_are_refused() -> None:
    answer = met_norway_answer(TABLE)
    answer["properties"]["timeseries"] *= 40
    refused("met-norway", body(answer), "longer than")


def test_text_of_the_feed_does_not_run_through_into_messages() -> None:
    answer = open_meteo_answer(TABLE)
    answer["hourly_units"]["precipitation"] = "\u202e\r\nBcc: someone\x00" * 500
    with pytest.raises(FeedUnusable) as caught:
        parse("open-meteo", json.dumps(answer).encode())
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 200
