"""The simulated ensemble: exact where it must be, and honest where it is drawn."""

import numpy as np
import pytest

from scheduler.verify.simulate import CHUNK, MODELS, ErrorModel, analogues, simulate
from scheduler.weather.chance import members_window_chance
from tests.observed import new_york

EXACT = ErrorModel((0.0, 0.0), (0.0, 0.0), drizzle_mm=0.0)


def rng(seed=1):
    return np.random.default_rng(seed)


def all_of(rain, issues, leads, skill, seed=1, members=31):
    runs = list(simulate(rain, issues, leads, skill, rng(seed), members))
    return np.concatenate([run.members for run in runs]), np.concatenate([run.single for run in runs])


def synthetic(years=12, seed=5):
    """Rain of a two-state chain with log-normal amounts: a climate without end to test statistics on."""
    draw = rng(seed)
    hours = int(years * 8766)
    u, wet = draw.random(hours), np.zeros(hours, dtype=bool)
    for t in range(1, hours):
        wet[t] = u[t] < (0.7 if wet[t - 1] else 0.025)
    return np.where(wet, np.exp(draw.normal(0.0, 0.8, hours)), 0.0)


def test_a_perfect_forecast_is_the_truth():
    rain, _ = new_york("LGA")
    issues = np.arange(9, len(rain) - 48, 24)
    members, single = all_of(rain, issues, 48, "perfect")
    truth = rain[issues[:, None] + np.arange(48)]
    np.testing.assert_array_equal(single, truth)
    np.testing.assert_array_equal(members, np.broadcast_to(truth[:, None, :], members.shape))


def test_no_skill_is_the_weather_of_another_year():
    rain = np.arange(8766.0 * 6)  # every hour is known by its amount
    issues = np.arange(20_000, 30_000, 24)
    members, single = all_of(rain, issues, 30, ErrorModel(no_skill=(1.0, 0.0, 1.0)), members=5)
    start = np.column_stack([members[:, :, 0], single[:, 0]])
    np.testing.assert_array_equal(members, start[:, :5, None] + np.arange(30))
    away = np.abs(start - issues[:, None])
    years = np.rint(away / 8765.8)
    assert years.min() == 1
    assert np.abs(away - years * 8765.8).max() <= 15 * 24 + 13  # 15 days, and the year's own quarter day
    assert ((start - issues[:, None]) % 24 == 0).all()


def test_a_single_year_borrows_from_its_own_season_but_not_from_the_same_days():
    issues = np.arange(9, 8760 - 48, 24)
    picked = analogues(8760, issues, 40, rng())
    days = np.abs(picked - issues[:, None]) / 24
    assert days.min() >= 10 and days.max() <= 45 and (days % 1 == 0).all()
    assert picked.min() >= 0 and picked.max() < 8760


def test_timing_and_amounts_stray_as_much_as_the_model_says():
    # One wet hour per 400 h; at 168 h the timing sd is 6 h and the log-amount sd 0.6, for truth round signal and
    # members round signal alike.
    gap, leads = 400, 220
    rain = np.zeros(gap * 2500)
    rain[168::gap] = 10.0
    issues = np.arange(gap, len(rain) - gap, gap)
    members, single = all_of(rain, issues, leads, ErrorModel(), members=6)
    for field, timing, amount in (
        (single, 6.0, 0.6),
        (members.reshape(-1, leads), 6.0 * np.sqrt(2), 0.6 * np.sqrt(2)),
    ):
        seen = field[field.max(axis=1) > 0]
        late = seen.argmax(axis=1) - 168
        assert late.std() == pytest.approx(timing, rel=0.1)
        assert np.log(seen.max(axis=1) / 10.0).std() == pytest.approx(amount, rel=0.1)
    apart = members.argmax(axis=2) - single.argmax(axis=1)[:, None]
    both = (members.max(axis=2) > 0) & (single.max(axis=1) > 0)[:, None]
    assert apart[both].std() == pytest.approx(6.0, rel=0.1)


@pytest.mark.parametrize("skill", ["low", "high"])
def test_the_ensemble_is_honest(skill):
    rain = synthetic()
    issues = np.arange(9 + 24 * 20, len(rain) - 24 * 20, 24)
    members, _ = all_of(rain, issues, 56, skill)
    errors = []
    for lead in (0, 24, 48):
        chance = members_window_chance(members, None, 8, 0.5)[:, lead]
        wet = rain[issues[:, None] + lead + np.arange(8)].sum(axis=1) >= 0.5
        assert abs(chance.mean() - wet.mean()) < 0.012
        for low, high in ((0.0, 0.1), (0.1, 0.4), (0.4, 0.8), (0.8, 1.01)):
            inside = (chance >= low) & (chance < high)
            assert inside.sum() > 30
            assert abs(chance[inside].mean() - wet[inside].mean()) < 0.02 + 3 * np.sqrt(0.25 / inside.sum())
        errors.append(np.mean((chance - wet) ** 2))
    assert errors == sorted(errors) and errors[0] < errors[2] - 0.01


def test_low_skill_is_worse_than_high_and_both_better_than_climate():
    rain, _ = new_york("EWR")
    issues = np.arange(9, len(rain) - 8, 24)
    wet = rain[issues[:, None] + np.arange(8)].sum(axis=1)
    known = ~np.isnan(wet)
    wet = wet[known] >= 0.5
    brier = {}
    for skill in MODELS:
        chance = members_window_chance(all_of(rain, issues, 8, skill)[0], None, 8, 0.5)[known, 0]
        assert np.isnan(chance).mean() < 0.02  # members that fell on a missing hour
        brier[skill] = np.nanmean((chance - wet) ** 2)
    assert brier["perfect"] == 0.0
    assert 0 < brier["high"] < brier["low"] < wet.mean() * (1 - wet.mean())


def test_missing_truth_is_a_missing_forecast_and_the_same_seed_the_same_forecast():
    rain = synthetic(2.5)
    rain[5000:5010] = np.nan
    issues = np.arange(4900, 5100)
    members, single = all_of(rain, issues, 24, "low")
    unknown = np.isnan(rain[issues[:, None] + np.arange(24)])
    assert np.isnan(single[unknown]).all() and np.isnan(members.transpose(0, 2, 1)[unknown]).all()
    again, _ = all_of(rain, issues, 24, "low")
    other, _ = all_of(rain, issues, 24, "low", seed=2)
    np.testing.assert_array_equal(members, again)
    assert not np.array_equal(members, other, equal_nan=True)


def test_parts_come_in_order_and_leave_nothing_out():
    rain = np.arange(8766.0 * 3)
    issues = np.arange(100, 100 + 2 * CHUNK + 7)
    sizes = [len(run.single) for run in simulate(rain, issues, 4, EXACT, rng())]
    assert sizes == [CHUNK, CHUNK, 7]
    np.testing.assert_array_equal(all_of(rain, issues, 4, EXACT)[1][:, 0], issues)
