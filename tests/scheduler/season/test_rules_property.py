"""Random histories: what the rules allow never breaks a cap, a closed season, or a waiting time."""

from collections import defaultdict
from datetime import UTC, date, datetime, time, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from config.models import Estate, Lawn, Product, Rules
from scheduler.agronomy.nutrients import nutrients
from scheduler.season.rules import rule_limits
from scheduler.values import Entry

LB = 453.59237 / 92.90304
SHEETS = [("20-0-0", 50), ("30-0-4", 0), ("10-18-8", 60), ("6-0-0", 100), ("0-0-40", 0)]
PRODUCTS = tuple(
    Product(id=f"p{i}", name=f"P{i}", form="granular", analysis=analysis, slow_n_pct=slow, rate_g_m2=20)
    for i, (analysis, slow) in enumerate(SHEETS)
)
BY_ID = {product.id: product for product in PRODUCTS}

# caps in lb per 1000 ft2 written out again from the statutes: soluble, total, year N, P2O5 single, P2O5 year, 30 days
CAPS = {
    "maryland": {"soluble": 0.7, "single": 0.9},  # Md. Code, Agriculture 6-224
    "new-jersey": {"soluble": 0.7, "single": 0.9, "year": 3.2},  # N.J.S.A. 58:10A; year from memory
    "florida-marion": {"soluble": 0.7, "single": 1.0, "year": 2.0, "p_single": 0.25, "p_year": 0.5},  # 19-247
    "florida-orange": {"single": 1.0},  # Orange County Code 15-804
    "virginia": {"month": 0.9, "month_soluble": 0.7},  # from memory
    "new-york": {},
    "minnesota": {},
    "england": {},
    "florida-neptune-beach": {},
}

steps = st.lists(
    st.tuples(st.integers(0, 20), st.sampled_from(PRODUCTS), st.floats(0.5, 60), st.sampled_from("aaaaah")), max_size=50
)


def total(rows: list[Entry], name: str) -> float:
    return sum(getattr(nutrients(BY_ID[row.product], row.amount), name) for row in rows)


@settings(deadline=None, max_examples=200)
@given(
    steps=steps,
    pack=st.sampled_from(sorted(CAPS)),
    start=st.dates(date(2023, 1, 1), date(2027, 12, 31)),
    latitude=st.sampled_from([52.0, -34.0]),
    own_year=st.one_of(st.none(), st.floats(1, 30)),
)
def test_no_cap_is_exceeded_by_what_the_rules_allow(steps, pack, start, latitude, own_year):
    estate = Estate(name="E", products=PRODUCTS, rules=Rules(packs=(pack,), year_n_g_m2=own_year))
    lawn = Lawn(id="l", name="L", latitude=latitude, longitude=0, area_m2=1, soil_test_on=start, soil_test_p="low")
    caps = {name: lb * LB * (1 + 1e-6) for name, lb in CAPS[pack].items()}
    ledger: list[Entry] = []
    day = start
    for gap, product, rate, how in steps:
        day += timedelta(days=gap)
        row = Entry("l", product.id, datetime.combine(day, time(12), UTC), day, amount=rate)
        if how == "h":  # entered by hand, whatever the rules say
            ledger.append(row)
            continue
        limits = rule_limits(estate, lawn, product, day, ledger, rate)
        if not all(limit.ok is True for limit in limits):
            continue
        ledger.append(row)
        given_ = nutrients(product, rate)
        today = [r for r in ledger if r.local_date == day]
        year = [r for r in ledger if r.local_date.year == day.year]
        month = [r for r in ledger if day - timedelta(days=29) <= r.local_date <= day]
        held = defaultdict(lambda: float("inf"), caps)
        if given_.n > 0:
            assert total(today, "soluble_n") <= held["soluble"] or given_.soluble_n == 0
            assert total(today, "n") <= held["single"]
            assert total(year, "n") <= min(held["year"], own_year * (1 + 1e-6) if own_year else float("inf"))
            assert total(month, "n") <= held["month"]
            assert total(month, "soluble_n") <= held["month_soluble"] or given_.soluble_n == 0
        if given_.p2o5 > 0:
            assert total(today, "p2o5") <= held["p_single"]
            assert total(year, "p2o5") <= held["p_year"]
        md = (day.month, day.day)
        if pack in ("maryland", "new-jersey") and given_.n + given_.p2o5 > 0:
            assert (3, 1) <= md <= (11, 15)
        if pack == "new-york":
            assert (4, 2) <= md <= (11, 30)
        if pack == "florida-orange" and given_.n + given_.p2o5 > 0:
            assert not (6, 1) <= md <= (9, 30)


@settings(deadline=None)
@given(steps=steps, pack=st.sampled_from(sorted(CAPS)), factor=st.floats(0.01, 1))
def test_less_of_an_allowed_dose_is_allowed(steps, pack, factor):
    estate = Estate(name="E", products=PRODUCTS, rules=Rules(packs=(pack,)))
    lawn = Lawn(id="l", name="L", latitude=52, longitude=0, area_m2=1)
    day, ledger = date(2026, 3, 15), []
    for gap, product, rate, _ in steps:
        day += timedelta(days=gap)
        whole = rule_limits(estate, lawn, product, day, ledger, rate)
        if all(limit.ok for limit in whole):
            assert all(limit.ok for limit in rule_limits(estate, lawn, product, day, ledger, rate * factor))
            ledger.append(Entry("l", product.id, datetime.combine(day, time(12), UTC), day, amount=rate))
