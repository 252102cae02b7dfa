"""Which hours of an answer count as past rain, and how far each is to be believed."""

from datetime import UTC, datetime, timedelta

import numpy as np

from scheduler.weather.past import FIRST_HOURS, LOOKED_BACK, OBSERVED, SPREAD, past_rain
from tests.weather import mild

START = datetime(2026, 5, 4, tzinfo=UTC)
NOW = START + timedelta(hours=30, minutes=20)


def test_a_feed_that_looks_back_tells_of_the_hours_that_are_over_and_no_others() -> None:
    told = past_rain(mild(START, 96, rain={3: 1.5}).with_(past_until=NOW, issued=NOW), NOW)
    assert (told.source, told.start) == ("met-norway", START)
    assert (told.grade[:30] == LOOKED_BACK).all()
    assert (told.grade[30:] == 0).all()  # the running hour is not over
    assert told.rain_mm[3] == 1.5


def test_measured_hours_come_before_the_feeds_own_account() -> None:
    measured = START + timedelta(hours=28)
    told = past_rain(mild(START, 96).with_(past_until=NOW, observed_until=measured), NOW)
    assert (told.grade[:28] == OBSERVED).all()
    assert (told.grade[28:30] == LOOKED_BACK).all()
    assert (told.grade[30:] == 0).all()


def test_a_measured_hour_is_one_that_is_over_by_our_own_clock() -> None:
    told = past_rain(mild(START, 96).with_(observed_until=NOW + timedelta(hours=9)), NOW)
    assert np.flatnonzero(told.grade).tolist() == list(range(30))


def test_a_run_that_does_not_look_back_stands_for_the_hours_around_it() -> None:
    begin = NOW.replace(minute=0)
    told = past_rain(mild(begin, 96), NOW)
    assert (told.grade[:12] == FIRST_HOURS).all()
    assert (told.grade[12:] == 0).all()


def test_an_hour_of_a_longer_sum_is_known_as_such() -> None:
    run = mild(NOW.replace(minute=0), 96)
    run.period_start[6:12] = 6
    told = past_rain(run, NOW)
    assert (told.grade[:6] == FIRST_HOURS).all()
    assert (told.grade[6:12] == SPREAD).all()


def test_a_run_that_is_too_old_to_stand_for_the_hour_says_nothing() -> None:
    assert not past_rain(mild(NOW - timedelta(hours=13), 96), NOW).grade.any()


def test_an_hour_without_a_value_is_not_kept() -> None:
    rain = np.zeros(96)
    rain[7] = np.nan
    told = past_rain(mild(START, 96).with_(past_until=NOW, rain_mm=rain), NOW)
    assert told.grade[7] == 0
    assert told.grade[8] == LOOKED_BACK
