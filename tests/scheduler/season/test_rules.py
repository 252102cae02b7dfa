"""Local rules on their boundary days and at their boundary doses."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from pytest import approx

from config.models import Estate, Lawn, Product, Rules
from scheduler.agronomy.units import g_m2_from_lb_1000ft2 as lb
from scheduler.season.rules import rule_limits
from scheduler.values import Entry, Limit

HALF_SLOW = Product(id="grain", name="Grain", form="granular", analysis="20-0-0", slow_n_pct=50, rate_g_m2=20)
SOLUBLE = Product(id="leaf", name="Leaf", form="liquid", analysis="10-0-0", basis="w/v", rate_ml_m2=5, water_ml_m2=60)
PHOSPHATE = Product(id="starter", name="Starter", form="granular", analysis="10-20-10", slow_n_pct=50, rate_g_m2=10)
POTASH = Product(id="potash", name="Potash", form="granular", analysis="0-0-50", rate_g_m2=10)
IRON = Product(id="iron", name="Iron", form="liquid", basis="w/v", iron_pct=6, rate_ml_m2=3, water_ml_m2=60)
PRODUCTS = (HALF_SLOW, SOLUBLE, PHOSPHATE, POTASH, IRON)


def estate(*packs: str, **rules: Any) -> Estate:
    return Estate(name="Sedge Rise", products=PRODUCTS, rules=Rules(packs=packs, **rules))


def lawn(**fields: Any) -> Lawn:
    base: dict[str, Any] = {"id": "front", "name": "Front", "latitude": 39.0, "longitude": -76.6, "area_m2": 100}
    return Lawn(**(base | fields))


def entry(product: Product, day: date, rate: float | None = None, **fields: Any) -> Entry:
    at = datetime.combine(day, time(14), UTC)
    return Entry("front", product.id, at, day, amount=None if rate is None else rate * 100, **fields)


def judged(
    where: Estate,
    product: Product,
    on: date,
    rate: float | None = None,
    ledger: Sequence[Entry] = (),
    place: Lawn | None = None,
) -> tuple[Limit, ...]:
    return rule_limits(where, place or lawn(), product, on, ledger, rate)


def allowed(*args: Any, **kwargs: Any) -> bool:
    return all(limit.ok is True for limit in judged(*args, **kwargs))


def broken(*args: Any, **kwargs: Any) -> set[str]:
    return {limit.name for limit in judged(*args, **kwargs) if limit.ok is False}


MAY = date(2026, 5, 4)

# --- closed seasons ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pack", "user", "day", "open_"),
    [
        # Md. Code, Agriculture 8-803.5: none before March 1 or after November 15
        ("maryland", "ordinary", date(2026, 11, 15), True),
        ("maryland", "ordinary", date(2026, 11, 16), False),
        ("maryland", "ordinary", date(2026, 2, 28), False),
        ("maryland", "ordinary", date(2028, 2, 29), False),
        ("maryland", "ordinary", date(2026, 3, 1), True),
        ("maryland", "ordinary", date(2026, 12, 31), False),
        ("maryland", "ordinary", date(2026, 1, 1), False),
        # Maryland Department of Agriculture notices: professionals up to December 1 at 0.5 lb
        ("maryland", "professional", date(2026, 11, 16), True),
        ("maryland", "professional", date(2026, 12, 1), True),
        ("maryland", "professional", date(2026, 12, 2), False),
        ("maryland", "professional", date(2028, 2, 29), False),
        ("maryland", "professional", date(2026, 3, 1), True),
        # N.J.S.A. 58:10A-62: none before March 1 or after November 15, professionals December 1
        ("new-jersey", "ordinary", date(2026, 11, 15), True),
        ("new-jersey", "ordinary", date(2026, 11, 16), False),
        ("new-jersey", "ordinary", date(2026, 3, 1), True),
        ("new-jersey", "professional", date(2026, 12, 1), True),
        ("new-jersey", "professional", date(2026, 12, 2), False),
        # N.Y. ECL 17-2103: December 1 and April 1 are both closed
        ("new-york", "ordinary", date(2026, 11, 30), True),
        ("new-york", "ordinary", date(2026, 12, 1), False),
        ("new-york", "ordinary", date(2026, 4, 1), False),
        ("new-york", "ordinary", date(2026, 4, 2), True),
        ("new-york", "professional", date(2026, 12, 1), False),
        # Orange County Code 15-804: none June 1 to September 30 unless certified
        ("florida-orange", "ordinary", date(2026, 5, 31), True),
        ("florida-orange", "ordinary", date(2026, 6, 1), False),
        ("florida-orange", "ordinary", date(2026, 9, 30), False),
        ("florida-orange", "ordinary", date(2026, 10, 1), True),
        ("florida-orange", "professional", date(2026, 7, 1), True),
    ],
)
def test_boundary_days(pack, user, day, open_):
    where = estate(pack, user=user)
    assert allowed(where, HALF_SLOW, day, lb(0.5) / 0.20) is open_
    south = lawn(latitude=-34.0)
    assert allowed(where, HALF_SLOW, day, lb(0.5) / 0.20, place=south) is open_  # legal dates do not move


@pytest.mark.parametrize("product", [POTASH, IRON])
def test_maryland_closes_for_nitrogen_and_phosphorus_only(product):
    # Md. Code, Agriculture 8-803.5 speaks of nitrogen and phosphorus
    assert allowed(estate("maryland"), product, date(2026, 12, 15))


def test_new_york_closes_for_any_fertiliser():
    # N.Y. ECL 17-2103 speaks of fertiliser: potash too, iron alone is none
    assert broken(estate("new-york"), POTASH, date(2026, 12, 15)) == {"closed_season"}
    assert allowed(estate("new-york"), IRON, date(2026, 12, 15))


def test_the_maryland_fortnight_of_professionals_has_its_own_cap():
    # Maryland Department of Agriculture notices: November 16 to December 1 up to 0.5 lb N per 1000 ft2, no phosphorus
    pro = estate("maryland", user="professional")
    half = lb(0.5) / 0.20
    assert allowed(pro, HALF_SLOW, date(2026, 11, 20), half)
    assert broken(pro, HALF_SLOW, date(2026, 11, 20), half * 1.01) == {"nitrogen_cap"}
    assert allowed(pro, HALF_SLOW, date(2026, 11, 15), half * 1.01)
    tested = lawn(soil_test_on=date(2026, 3, 1), soil_test_p="low")
    assert broken(pro, PHOSPHATE, date(2026, 11, 20), 1.0, place=tested) == {"closed_season"}


def test_own_closed_season_is_for_everything():
    where = estate(closed=(("12-20", "01-10"),))
    days = [date(2026, 12, 19), date(2026, 12, 20), date(2027, 1, 10), date(2027, 1, 11)]
    assert [allowed(where, IRON, day) for day in days] == [True, False, False, True]


# --- caps --------------------------------------------------------------------------------------------------------


def test_single_caps_of_maryland():
    # Md. Code, Agriculture 6-224: 0.9 lb total and 0.7 lb soluble N per application, a fifth of it slow
    where = estate("maryland")
    assert allowed(where, HALF_SLOW, MAY, lb(0.9) / 0.20)
    assert broken(where, HALF_SLOW, MAY, lb(0.9) / 0.20 * 1.001) == {"nitrogen_cap"}
    fifth = Product(id="f", name="F", form="granular", analysis="20-0-0", slow_n_pct=20, rate_g_m2=1)
    assert allowed(where, fifth, MAY, lb(0.7) / 0.8 / 0.20)
    assert broken(where, fifth, MAY, lb(0.71) / 0.8 / 0.20) == {"nitrogen_cap"}
    assert broken(where, SOLUBLE, MAY, 1.0) == {"nitrogen_cap"}  # no slow share at all


def test_two_products_on_one_day_are_one_application():
    # adviser's rule: N from every product counts into the same cap
    where = estate(single_n_g_m2=4.0)
    first = [entry(HALF_SLOW, MAY, 15.0)]  # 3 g
    assert allowed(where, SOLUBLE, MAY, 10.0, first)
    assert broken(where, SOLUBLE, MAY, 10.1, first) == {"nitrogen_cap"}
    assert allowed(where, SOLUBLE, MAY + timedelta(days=1), 10.1, first)


def test_year_caps_count_every_product_of_the_calendar_year():
    # Marion County Code 19-247: zoysia 4 lb N a year
    where, place = estate("florida-marion"), lawn(grass="warm", species="zoysiagrass")
    dose = lb(0.9) / 0.20
    past = [entry(HALF_SLOW, date(2026, month, 1), dose) for month in (3, 4, 6, 8)]
    assert allowed(where, HALF_SLOW, date(2026, 10, 1), lb(0.4) / 0.20, past, place)
    over = judged(where, HALF_SLOW, date(2026, 10, 1), lb(0.5) / 0.20, past, place)
    limit = next(limit for limit in over if limit.ok is False)
    assert (limit.name, limit.unit) == ("nitrogen_cap", "g N/m2 in the year")
    assert limit.value == approx(lb(4.1))
    assert limit.allowed[1] == approx(lb(4.0))
    assert allowed(where, HALF_SLOW, date(2027, 1, 1), lb(0.5) / 0.20, past, place)


@pytest.mark.parametrize(
    ("species", "cap"),
    # Marion County Code 19-247: lb N per 1000 ft2 and year by grass; the lowest where it is not known
    [("bahiagrass", 3), ("bermudagrass", 4), ("centipedegrass", 2), ("st-augustinegrass", 3), ("zoysiagrass", 4)]
    + [(None, 2), ("tall-fescue", 2)],
)
def test_year_caps_by_species(species, cap):
    place = lawn(species=species)
    before = [entry(HALF_SLOW, date(2026, 3, 1), lb(cap - 0.5) / 0.20)]
    assert allowed(estate("florida-marion"), HALF_SLOW, MAY, lb(0.5) / 0.20, before, place)
    assert not allowed(estate("florida-marion"), HALF_SLOW, MAY, lb(0.51) / 0.20, before, place)


def test_a_hand_entered_dose_above_the_cap_holds_the_next_and_says_by_how_much():
    where = estate(year_n_g_m2=20.0)
    (limit,) = judged(where, HALF_SLOW, MAY, 10.0, [entry(HALF_SLOW, date(2026, 3, 1), 125.0)])
    assert (limit.ok, limit.value, limit.allowed) == (False, approx(27.0), (None, 20.0))


def test_what_was_undone_skipped_or_put_elsewhere_does_not_count():
    where = estate(year_n_g_m2=5.0)
    day = date(2026, 3, 1)
    rows = [
        entry(HALF_SLOW, day, 25.0, undone_at=datetime(2026, 3, 2, tzinfo=UTC)),
        entry(HALF_SLOW, day, 25.0, kind="skipped"),
        Entry("back", HALF_SLOW.id, datetime(2026, 3, 1, 14, tzinfo=UTC), day, amount=2500),
    ]
    assert allowed(where, HALF_SLOW, MAY, 25.0, rows)


def test_a_row_without_its_sheet_makes_the_cap_unknown():
    where = estate(year_n_g_m2=20.0)
    gone = Entry("front", "old-stuff", datetime(2026, 3, 1, 14, tzinfo=UTC), date(2026, 3, 1), amount=100)
    (limit,) = judged(where, HALF_SLOW, MAY, 10.0, [gone])
    assert limit.ok is None
    assert "old-stuff" in limit.note
    (limit,) = judged(where, HALF_SLOW, MAY, 110.0, [gone])
    assert limit.ok is False


def test_any_thirty_days_in_a_row():
    # Virginia nutrient management (value from memory): 0.9 lb total N in 30 days
    where, third = estate("virginia"), lb(0.3) / 0.20
    past = [entry(HALF_SLOW, MAY, third), entry(HALF_SLOW, MAY + timedelta(days=20), third)]
    assert allowed(where, HALF_SLOW, MAY + timedelta(days=29), third, past)
    assert broken(where, HALF_SLOW, MAY + timedelta(days=29), third * 1.1, past) == {"nitrogen_cap"}
    assert allowed(where, HALF_SLOW, MAY + timedelta(days=30), third * 2, past)
    # an application put before later ones counts with them
    assert broken(where, HALF_SLOW, MAY + timedelta(days=10), third * 1.1, past) == {"nitrogen_cap"}


def test_half_slow_or_little_soluble():
    # Orange County Code 15-804: at least 50 % slow, or at most 0.5 lb readily available
    where = estate("florida-orange")
    quick = Product(id="q", name="Q", form="granular", analysis="20-0-0", slow_n_pct=49, rate_g_m2=1)
    assert allowed(where, quick, MAY, lb(0.5) / 0.51 / 0.20)
    assert broken(where, quick, MAY, lb(0.52) / 0.51 / 0.20) == {"nitrogen_cap"}
    assert allowed(where, HALF_SLOW, MAY, lb(1.0) / 0.20)


def test_phosphate_caps_and_the_starter():
    # Marion County Code 19-247: 0.25 lb P2O5 an application, 0.50 a year; a starter feed once up to 1.0
    where = estate("florida-marion")
    quarter = lb(0.25) / 0.20
    assert allowed(where, PHOSPHATE, MAY, quarter)
    assert broken(where, PHOSPHATE, MAY, quarter * 1.01) == {"phosphorus_cap"}
    past = [entry(PHOSPHATE, date(2026, 3, 1), quarter), entry(PHOSPHATE, date(2026, 4, 1), quarter)]
    assert broken(where, PHOSPHATE, MAY, 0.5, past) == {"phosphorus_cap"}
    new = lawn(sown_on=MAY - timedelta(days=3))
    assert allowed(where, PHOSPHATE, MAY, lb(1.0) / 0.20, place=new)
    assert "phosphorus_cap" in broken(where, PHOSPHATE, MAY, lb(1.0) / 0.20, past, new)


# --- phosphorus by soil test -------------------------------------------------------------------------------------


@pytest.mark.parametrize("pack", ["maryland", "minnesota", "new-jersey", "new-york"])
def test_phosphorus_needs_a_soil_test_that_asks_for_it(pack):
    # Md. Code, Agriculture 6-224; Minn. Stat. 18C.60; N.J.S.A. 58:10A; N.Y. ECL 17-2103: a test of the last 3 years
    where = estate(pack)
    assert broken(where, PHOSPHATE, MAY, 1.0) == {"phosphorus_cap"}
    assert allowed(where, HALF_SLOW, MAY, 10.0)
    for level, ok in [("low", True), ("medium", True), ("high", False), ("very-high", False)]:
        assert allowed(where, PHOSPHATE, MAY, 1.0, place=lawn(soil_test_on=MAY, soil_test_p=level)) is ok
    three_years = lawn(soil_test_on=date(2023, 5, 4), soil_test_p="low")
    assert allowed(where, PHOSPHATE, MAY, 1.0, place=three_years)
    assert not allowed(where, PHOSPHATE, MAY + timedelta(days=1), 1.0, place=three_years)
    assert not allowed(where, PHOSPHATE, MAY, 1.0, place=lawn(soil_test_on=MAY + timedelta(days=1), soil_test_p="low"))
    assert allowed(where, PHOSPHATE, MAY, 1.0, place=lawn(sown_on=MAY - timedelta(days=200)))
    assert not allowed(where, PHOSPHATE, MAY, 1.0, place=lawn(sown_on=MAY - timedelta(days=400)))


def test_a_soil_test_of_a_leap_day():
    where, place = estate("minnesota"), lawn(soil_test_on=date(2024, 2, 29), soil_test_p="low")
    assert allowed(where, PHOSPHATE, date(2027, 2, 28), 1.0, place=place)
    assert not allowed(where, PHOSPHATE, date(2027, 3, 1), 1.0, place=place)


def test_new_york_counts_phosphorus_above_two_thirds_of_a_per_cent():
    # N.Y. ECL 17-2101: more than 0.67 % P2O5 by weight
    where = estate("new-york")
    for analysis, fields, ok in [
        ("10-0.67-0", {}, True),
        ("10-0.68-0", {}, False),
        ("10-0.7-0", {"basis": "w/v", "density_kg_l": 1.2}, True),  # 0.58 % by weight
        ("10-0.7-0", {"basis": "w/v", "density_kg_l": 1.0}, False),
    ]:
        sheet = Product(
            id="p", name="P", form="liquid", analysis=analysis, rate_ml_m2=1, **({"density_kg_l": 1.0} | fields)
        )
        assert allowed(where, sheet, MAY) is ok


# --- place and age -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("packs", "least_m"),
    # Md. 8-803.5 15 ft; Jersey-Friendly Yards 25 ft; N.Y. ECL 17-2103 20 ft; Orange 15 ft; Defra PB12736i 2 m
    [(("maryland",), 4.572), (("new-jersey",), 7.62), (("new-york",), 6.096), (("florida-orange",), 4.572)]
    + [(("england",), 2.0), ((), 2.0), (("england", "new-york", "maryland"), 6.096)],
)
def test_distance_from_water(packs, least_m):
    where = estate(*packs)
    assert allowed(where, IRON, MAY, place=lawn(water_within_m=least_m + 1e-6))
    assert broken(where, IRON, MAY, place=lawn(water_within_m=least_m - 0.01)) == {"water_distance"}
    assert allowed(where, IRON, MAY)


def test_new_turf():
    # Neptune Beach Code 24-31: no N or P before or for 30 days after seeding or sodding
    where = estate("florida-neptune-beach")
    for days, ok in [(-31, True), (-30, False), (-1, False), (0, False), (29, False), (30, True)]:
        place = lawn(sown_on=MAY - timedelta(days=days))
        assert allowed(where, HALF_SLOW, MAY, place=place) is ok
        assert allowed(where, POTASH, MAY, place=place)


def test_the_strictest_of_several_packs_decides():
    where = estate("new-york", "maryland", single_n_g_m2=1.0)
    assert broken(where, HALF_SLOW, date(2026, 11, 20), 5.0) == {"closed_season"}
    assert broken(where, HALF_SLOW, MAY, 5.1) == {"nitrogen_cap"}


def test_without_rules_nothing_is_said():
    assert judged(estate(), HALF_SLOW, MAY) == ()
