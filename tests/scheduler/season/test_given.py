"""Sums of nutrients over the year and the last 30 days, and how they stand against the caps that apply."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from config.models import Estate, Lawn, Product, Rules
from scheduler.agronomy.nutrients import Nutrients
from scheduler.season.dose import dose_of
from scheduler.season.given import given_to
from scheduler.season.rules import rule_limits
from scheduler.values import Entry

GRAIN = Product(id="grain", name="Grain", form="granular", analysis="20-5-8", slow_n_pct=50, rate_g_m2=25)
IRON = Product(id="iron", name="Iron", form="liquid", basis="w/v", iron_pct=6, rate_ml_m2=3, water_ml_m2=60)
LAWN = Lawn(id="front", name="Front", latitude=51.5, longitude=-0.6, area_m2=100)
TODAY = date(2026, 5, 31)


def estate(**rules: Any) -> Estate:
    return Estate(name="Sedge Rise", lawns=(LAWN,), products=(GRAIN, IRON), rules=Rules(**rules))


def entry(day: date, product: str = "grain", **fields: Any) -> Entry:
    return Entry("front", product, datetime.combine(day, time(9), UTC), day, **fields)


def test_a_part_of_the_lawn_counts_with_what_fell_on_that_part() -> None:
    # 20-5-8 at 25 g/m2: 5 g N, 1.25 g P2O5 (0.4364 P), 2 g K2O (0.8301 K) on every m2
    whole = dose_of(entry(TODAY), GRAIN, LAWN)
    assert (whole.n, whole.p2o5, whole.k2o) == approx((5.0, 1.25, 2.0))
    assert (whole.p, whole.k) == approx((1.25 * 0.4364, 2 * 0.8301))
    assert dose_of(entry(TODAY, amount=2500.0), GRAIN, LAWN).n == approx(5.0)
    assert dose_of(entry(TODAY, amount=1250.0, area_m2=50.0), GRAIN, LAWN).n == approx(5.0)
    assert dose_of(entry(TODAY, area_m2=50.0), GRAIN, LAWN).n == approx(5.0)


def test_what_was_skipped_or_taken_back_gave_nothing() -> None:
    assert dose_of(entry(TODAY, kind="skipped"), GRAIN, LAWN) == Nutrients()
    assert dose_of(entry(TODAY, undone_at=datetime(2026, 6, 1, tzinfo=UTC)), GRAIN, LAWN) == Nutrients()


def test_the_year_and_the_last_thirty_days_to_the_day() -> None:
    first = TODAY - timedelta(days=29)
    rows = [entry(date(2025, 12, 31)), entry(date(2026, 1, 1)), entry(first - timedelta(days=1)), entry(first),
            entry(TODAY, "iron"), entry(TODAY + timedelta(days=1)), replace(entry(TODAY), lawn="back")]  # fmt: skip
    told = given_to(estate(), LAWN, rows, TODAY)
    assert told.recent_from == first
    assert told.year.n == approx(3 * 5.0)
    assert told.recent.n == approx(5.0)
    assert told.year.fe == told.recent.fe == approx(0.18)  # 3 ml/m2 at 6 % w/v


def test_every_cap_that_applies_is_told_with_what_counts_against_it() -> None:
    rules = {"single_n_g_m2": 6.0, "year_n_g_m2": 12.0, "year_p2o5_g_m2": 2.0}
    rows = [entry(date(2026, 3, 1)), entry(date(2026, 3, 1)), entry(date(2026, 5, 1))]
    told = given_to(estate(**rules), LAWN, rows, TODAY)
    caps = {(x.limit.name, x.limit.allowed[1]): x for x in told.caps}
    single, year = caps["nitrogen_cap", 6.0], caps["nitrogen_cap", 12.0]
    assert (single.limit.value, single.limit.ok, single.on) == (approx(10.0), False, date(2026, 3, 1))
    assert (year.limit.value, year.limit.ok) == (approx(15.0), False)
    phosphate = caps["phosphorus_cap", 2.0]
    assert (phosphate.limit.value, phosphate.limit.ok) == (approx(3.75), False)


def test_a_lawn_without_a_history_stands_at_nought_below_every_cap() -> None:
    told = given_to(estate(year_n_g_m2=12.0), LAWN, [], TODAY)
    assert told.year == Nutrients()
    assert [(cap.limit.value, cap.limit.ok) for cap in told.caps] == [(0.0, True)]


def test_a_cap_that_is_just_reached_is_kept() -> None:
    told = given_to(estate(year_n_g_m2=5.0), LAWN, [entry(TODAY)], TODAY)
    assert [(cap.limit.value, cap.limit.ok) for cap in told.caps] == [(5.0, True)]


def test_a_product_whose_sheet_is_gone_is_named_and_its_caps_are_not_known() -> None:
    told = given_to(estate(year_n_g_m2=12.0), LAWN, [entry(TODAY, "old-feed"), entry(TODAY)], TODAY)
    assert told.unknown == ("old-feed",)
    assert told.year.n == approx(5.0)
    assert [cap.limit.ok for cap in told.caps] == [None]


def test_the_rules_of_a_pack_count_too_and_rules_that_are_no_caps_do_not() -> None:
    # Maryland: single caps of soluble and of total N, and more rules that are none
    told = given_to(estate(packs=("maryland",)), LAWN, [entry(TODAY)], TODAY)
    units = {cap.limit.unit for cap in told.caps}
    assert {"g N/m2", "g soluble N/m2"} <= units
    assert all(cap.limit.allowed[1] is not None and "slow" not in cap.limit.unit for cap in told.caps)


@settings(deadline=None)
@given(st.lists(st.tuples(st.dates(date(2026, 1, 1), TODAY), st.floats(0, 9000)), max_size=8))
def test_the_year_cap_counts_what_the_rules_count_before_the_next_dose(history: list[tuple[date, float]]) -> None:
    where = estate(year_n_g_m2=12.0)
    rows = [entry(day, amount=amount) for day, amount in history]
    (cap,) = given_to(where, LAWN, rows, TODAY).caps
    next_one = [x for x in rule_limits(where, LAWN, GRAIN, TODAY, rows) if x.name == "nitrogen_cap"]
    assert cap.limit.value == approx((next_one[0].value or 0) - 5.0, abs=1e-5)
    assert cap.limit.value == approx(given_to(where, LAWN, rows, TODAY).year.n, abs=1e-5)
