"""Replays over a year at three airports (NOAA, 2013): against plain loops, and what the product promises."""

from functools import cache

import numpy as np
import pytest

from scheduler.decide.waiting import GOOD_ENOUGH, threshold_table
from scheduler.verify.bounds import bootstrap
from scheduler.verify.replay import POLICIES, Terms, Workable, replay
from scheduler.verify.scores import brier
from tests.observed import STATIONS, new_york
from tests.scheduler.verify import replay_oracle as oracle


@cache
def year(station, skill, seed=1):
    rain, times = new_york(station)
    return replay(rain, times, skill, np.random.default_rng(seed))


def mean(skill, form, policy, rate):
    """Mean over the three airports."""
    return np.mean([getattr(year(s, skill), form)[policy].rates[rate].value for s in STATIONS])


def delay(skill, form, policy):
    return np.mean([getattr(year(s, skill), form)[policy].delay_d for s in STATIONS])


@pytest.mark.parametrize("skill", ["low", "perfect"])
def test_every_policy_takes_the_day_that_a_loop_takes(skill):
    rain, _ = new_york("JFK")
    told, terms = year("JFK", skill), Terms()
    season = told.season
    outcomes = [oracle.came(rain, start, terms) for start in season.start]
    liquid = {
        "calendar": lambda d: True,
        "one_run": lambda d: season.said.run_alone_wet[d] == 0,
        "ligule": lambda d: season.said.wet[d, 0] <= 0.15,
        "ligule_one_run": lambda d: season.said.run_wet[d] <= 0.15,
        "clairvoyant": lambda d: outcomes[d][0] is False or outcomes[d][0] == np.False_,
    }
    for name, may_go in liquid.items():
        expected = [oracle.day_taken(range(d, d + 15), may_go) for d in told.due]
        np.testing.assert_array_equal(told.liquid[name].taken, expected)
        wet = [outcomes[d][0] for d in expected if outcomes[d][0] is not None]
        assert told.liquid[name].rates["washed_off"].value == pytest.approx(np.mean(wet))
        assert told.liquid[name].delay_d == pytest.approx(np.mean(np.array(expected) - told.due))
    for name in POLICIES:
        expected = []
        for due in told.due:
            days = [due] if name == "calendar" else range(due - 4, due + 15)
            expected.append(
                oracle.day_taken(days, lambda d, last=days[-1], name=name: granule(told, outcomes, name, d, last))
            )
        np.testing.assert_array_equal(told.granular[name].taken, expected)
        known = [outcomes[d][1] for d in expected if outcomes[d][1] is not None]
        for rate, word in (("success", "dissolved"), ("too_dry", "dry"), ("too_heavy", "heavy")):
            share = np.mean([outcome == word for outcome in known])
            assert told.granular[name].rates[rate].value == pytest.approx(share)


def granule(told, outcomes, name, day, last):
    """Whether a policy goes on a day."""
    said = told.season.said
    if name == "calendar":
        return True
    if name == "clairvoyant":
        return outcomes[day][1] == "dissolved"
    if name == "one_run":
        return said.run_alone_dissolves[day] == 1
    chances = said.dissolves if name == "ligule" else said.run_dissolves
    return chances[day, 0] >= min(GOOD_ENOUGH, threshold_table(chances[day], 18)[0, last - day])


def test_what_the_product_promises_with_a_cautious_forecast():
    # This year's own figures, mean of three airports: calendar 14.4 % washed off and 17.4 % dissolved as wanted; held
    # by the forecast 1.2 % at 0.2 days and 75 % at 3.1 days. The bounds are those promised for a longer record.
    assert 0.10 < mean("low", "liquid", "calendar", "washed_off") < 0.20
    assert mean("low", "liquid", "ligule", "washed_off") <= 0.045
    assert delay("low", "liquid", "ligule") <= 0.3
    assert 0.12 < mean("low", "granular", "calendar", "success") < 0.25
    assert mean("low", "granular", "ligule", "success") >= 0.58
    assert delay("low", "granular", "ligule") <= 3.5


def test_what_a_better_forecast_gives():
    assert mean("high", "liquid", "ligule", "washed_off") <= 0.027
    assert mean("high", "granular", "ligule", "success") >= 0.63
    assert delay("high", "granular", "ligule") <= 3.5
    assert mean("perfect", "liquid", "ligule", "washed_off") == 0.0
    assert mean("perfect", "granular", "ligule", "success") >= 0.88


@pytest.mark.parametrize("skill", ["low", "high"])
def test_the_policy_beats_the_icon_and_is_beaten_by_foreknowledge(skill):
    wet = [mean(skill, "liquid", name, "washed_off") for name in ("calendar", "one_run", "ligule", "clairvoyant")]
    assert wet == sorted(wet, reverse=True) and wet[-1] == 0.0
    good = [mean(skill, "granular", name, "success") for name in ("calendar", "one_run", "ligule", "clairvoyant")]
    assert good == sorted(good)


def test_a_single_run_with_its_spread_is_better_than_the_run_alone():
    assert mean("low", "liquid", "ligule_one_run", "washed_off") < mean("low", "liquid", "one_run", "washed_off")


def test_forecasts_score_worse_the_further_ahead_and_equal_the_score_of_the_pairs():
    told = year("EWR", "low")
    assert told.brier_by_lead[0] < told.brier_by_lead[1] < told.brier_by_lead[-1]
    season = told.season
    pairs = [(season.said.wet[d, 1], season.wet[d + 1]) for d in range(len(season.start) - 1)]
    assert told.brier_by_lead[1] == pytest.approx(brier(*map(np.array, zip(*pairs, strict=True))))


def test_bounds_hold_the_rate_and_come_from_whole_blocks():
    told = year("LGA", "low")
    assert told.blocks == "month"
    for outcome in (*told.liquid.values(), *told.granular.values()):
        for rate in outcome.rates.values():
            assert 0 <= rate.low <= rate.value <= rate.high <= 1
    rng = np.random.default_rng(3)
    values, block = np.repeat([1.0, 0.0, 1.0, 0.0], 50), np.repeat([1, 2, 3, 4], 50)
    clustered, alone = bootstrap(values, block, rng), bootstrap(values, np.arange(200), rng)
    assert clustered.high - clustered.low > 3 * (alone.high - alone.low)
    assert alone.low == pytest.approx(0.5 - 1.96 * np.sqrt(0.25 / 200), abs=0.02)  # the normal law's bounds
    assert np.isnan(bootstrap(np.full(3, np.nan), np.arange(3), rng).value)


def test_weather_that_stops_work_holds_every_policy_but_the_calendar():
    rain, times = new_york("LGA")
    day = (times - times[0]).astype(int) // 24
    workable = Workable(day % 3 == 0, day % 4 == 0)
    told = replay(rain, times, "high", np.random.default_rng(1), workable=workable)
    free = year("LGA", "high")
    for name in POLICIES[1:]:
        taken = told.liquid[name].taken
        stopped = ~told.season.workable.liquid[taken]
        assert (taken[stopped] == told.due[stopped] + 14).all()  # only on the last day, taken as it comes
        assert told.liquid[name].delay_d > free.liquid[name].delay_d
        taken = told.granular[name].taken
        stopped = ~told.season.workable.granular[taken]
        assert (taken[stopped] == told.due[stopped] + 14).all()
    np.testing.assert_array_equal(told.liquid["calendar"].taken, told.due)


def test_a_day_without_known_rain_is_never_a_go_of_a_forecast():
    rain, times = new_york("JFK")
    rain = rain.copy()
    rain[24 * 100 : 24 * 110] = np.nan
    told = replay(rain, times, "low", np.random.default_rng(1))
    unknown = np.isnan(told.season.said.wet[:, 0])
    assert unknown.sum() >= 10
    assert not unknown[told.liquid["ligule"].taken].any()
    assert not np.isin(told.due, np.flatnonzero(np.isnan(told.season.wet))).any()


def test_terms_are_obeyed():
    rain, times = new_york("EWR")
    terms = Terms(
        hour=14, months=(5, 6), liquid_hold_days=1, accepted_risk=0.4, granular_early_days=1, granular_hold_days=2
    )
    told = replay(rain, times, "low", np.random.default_rng(1), terms)
    started = times[told.season.start]
    assert ((started - started.astype("datetime64[D]")).astype(int) == 14).all()
    assert set(told.season.month[told.due]) == {5, 6}
    waited = np.concatenate([told.liquid[name].taken - told.due for name in POLICIES])
    assert waited.min() == 0 and waited.max() == 1
    moved = np.concatenate([told.granular[name].taken - told.due for name in POLICIES])
    assert moved.min() == -1 and moved.max() == 2
    chosen = told.liquid["ligule"].taken
    early = chosen < told.due + 1
    assert (told.season.said.wet[chosen[early], 0] <= 0.4).all()


@pytest.mark.parametrize("hours", [0, 30, 400])
def test_a_record_too_short_says_so(hours):
    times = np.datetime64("2013-05-01T00", "h") + np.arange(hours)
    with pytest.raises(ValueError, match="too short"):
        replay(np.zeros(hours), times, "low", np.random.default_rng(1))


def test_progress_counts_every_day():
    rain, times = new_york("EWR")
    done = []
    told = replay(rain, times, "low", np.random.default_rng(1), progress=done.append)
    assert sum(done) == len(told.season.start)
