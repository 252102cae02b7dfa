"""Recorded answers given on the command line as PROVIDER:FILE."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from adapters.feeds.recorded import read_recorded
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import Forecast
from tests.adapters.feeds.answers import LATITUDE, LONGITUDE, met_norway_answer, open_meteo_answer, weather, wrapped

NOW = datetime(2026, 5, 4, 5, 20, tzinfo=UTC)
TABLE = weather("2026-05-04T05:00", 48, rain_mm={3: 2.0})


def read(folder: Path, provider: str, answer: Any, now: datetime = NOW) -> Forecast:
    file = folder / "answer.json"
    file.write_text(answer if isinstance(answer, str) else json.dumps(answer), encoding="utf-8")
    return read_recorded(f"{provider}:{file}", latitude=LATITUDE, longitude=LONGITUDE, now=now)


def test_both_feeds_tell_the_same_weather_from_the_same_table(tmp_path: Path) -> None:
    one = read(tmp_path, "open-meteo", open_meteo_answer(TABLE))
    other = read(tmp_path, "met-norway", met_norway_answer(TABLE))
    first = one.index(other.start)
    np.testing.assert_allclose(one.rain_mm[first : first + 48], other.rain_mm[:48])


def test_a_wrapped_answer_is_as_old_as_its_date_header(tmp_path: Path) -> None:
    date = NOW - timedelta(hours=7)
    forecast = read(tmp_path, "open-meteo", wrapped(open_meteo_answer(TABLE), date=date))
    assert forecast.issued == forecast.received == date
    issued = NOW - timedelta(hours=9)
    forecast = read(tmp_path, "met-norway", wrapped(met_norway_answer(TABLE, issued=issued), date=date))
    assert (forecast.issued, forecast.received) == (issued, date)


def test_a_raw_answer_counts_as_received_now(tmp_path: Path) -> None:
    assert read(tmp_path, "open-meteo", open_meteo_answer(TABLE)).issued == NOW
    assert read(tmp_path, "open-meteo", wrapped(open_meteo_answer(TABLE))).issued == NOW


def test_a_recording_out_of_the_future_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FeedUnusable, match="future"):
        read(tmp_path, "met-norway", wrapped(met_norway_answer(TABLE), date=NOW + timedelta(hours=2)))


@pytest.mark.parametrize("status", [404, 429, 500, 304, None, "200"])
def test_a_recorded_failure_is_no_forecast(tmp_path: Path, status: Any) -> None:
    recording = wrapped(met_norway_answer(TABLE)) | {"status_code": status}
    with pytest.raises(FeedUnusable, match="status"):
        read(tmp_path, "met-norway", recording)


@pytest.mark.parametrize("date", ["yesterday", 12, None])
def test_a_date_header_that_cannot_be_read_is_refused_where_there_is_one(tmp_path: Path, date: Any) -> None:
    recording = wrapped(open_meteo_answer(TABLE))
    recording["headers"]["date"] = date
    if date is None:
        assert read(tmp_path, "open-meteo", recording).issued == NOW
    else:
        with pytest.raises(FeedUnusable, match="Date"):
            read(tmp_path, "open-meteo", recording)


@pytest.mark.parametrize("spec", ["weather-frog:x.json", "open-meteo", "open-meteo:", "", ":x.json"])
def test_a_spec_that_names_no_feed_or_file_is_refused(spec: str) -> None:
    with pytest.raises(FeedUnusable):
        read_recorded(spec, latitude=LATITUDE, longitude=LONGITUDE, now=NOW)


def test_a_file_that_cannot_be_read_is_refused_with_its_name(tmp_path: Path) -> None:
    for name in (tmp_path / "none.json", tmp_path):
        with pytest.raises(FeedUnusable, match=str(name)):
            read_recorded(f"open-meteo:{name}", latitude=LATITUDE, longitude=LONGITUDE, now=NOW)
    with pytest.raises(FeedUnusable, match="not a file name"):
        read_recorded("open-meteo:\0", latitude=LATITUDE, longitude=LONGITUDE, now=NOW)


def test_a_file_larger_than_any_forecast_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FeedUnusable, match="larger"):
        read(tmp_path, "open-meteo", " " * 8_000_001)


def test_an_answer_for_another_place_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FeedUnusable, match="another place"):
        read(tmp_path, "met-norway", met_norway_answer(TABLE, latitude=LATITUDE + 1))
