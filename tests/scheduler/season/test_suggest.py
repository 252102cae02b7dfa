"""What is drafted for a lawn: the year's nitrogen, the forms in their seasons, and what is advised against."""

from datetime import date

import pytest

from scheduler.agronomy.nutrients import Nutrients, nutrients
from scheduler.season.suggest import suggest
from scheduler.season.suggest_values import Stage, Suggestion, Wishes
from tests.scheduler.season.suggested import HOT, MILD, TODAY, combined, estate, lawn, leaf, product

ALL = (product(), leaf(), combined())
SOUTHERN_MILD = MILD[6:] + MILD[:6]


def draft(plot=None, wishes=None, products=ALL, packs=(), **changes) -> Suggestion:
    changes.setdefault("monthly_mean_c", MILD)
    plot = plot or lawn()
    return suggest(estate(plot, *products, packs=packs, **changes), plot, wishes or Wishes(), TODAY)


def of(told: Suggestion, role: str) -> list[Stage]:
    return [stage for stage in told.stages if stage.role == role]


def about(told: Suggestion) -> set[str]:
    return {item.about for item in told.against}


# --- the year's nitrogen -----------------------------------------------------------------------------------------

# Published ranges in lb per 1000 ft2 a year: Penn State (Landschoot), University of Illinois Extension 1995,
# Virginia DCR, Florida-friendly guide (UF/IFAS EP221).
PUBLISHED = [
    ("kentucky-bluegrass", "cool", 3, 4), ("fine-fescue", "cool", 1, 3), ("tall-fescue", "cool", 2, 4),
    ("bermudagrass", "warm", 3, 5), ("centipedegrass", "warm", 1, 2), ("st-augustinegrass", "warm", 2, 4),
]  # fmt: skip


@pytest.mark.parametrize(("species", "grass", "low", "high"), PUBLISHED)
@pytest.mark.parametrize("use", ["ornamental", "family", "sport"])
def test_the_target_lies_in_the_published_range_of_the_grass(species, grass, low, high, use):
    for water in ("none", "hose"):
        for clippings in ("returned", "removed"):
            told = draft(lawn(species=species, grass=grass, irrigation=water), Wishes(use=use, clippings=clippings))
            assert low * 4.88 <= told.target.wanted <= high * 4.884


def test_worn_turf_and_removed_clippings_want_more_and_dry_lawns_less():
    family = draft().target.wanted
    assert draft(wishes=Wishes(use="sport")).target.wanted > family
    assert draft(wishes=Wishes(clippings="removed")).target.wanted > family
    assert draft(lawn(irrigation="none")).target.wanted < family


def test_a_fixed_figure_is_met_within_a_twentieth_and_never_passed_by_more():
    for wanted in (3.0, 6.0, 9.0, 12.0):
        told = draft(wishes=Wishes(n_g_m2=wanted, effort="weekly"))
        assert told.target.wanted == wanted
        assert wanted - 0.504 <= told.total.n <= wanted * 1.05


def test_a_local_cap_stands_above_the_owners_figure():
    # Marion County 19-247: centipede 2 lb a year
    plot = lawn(latitude=29.0, grass="warm", species="centipedegrass")
    told = draft(plot, Wishes(n_g_m2=20), packs=("florida-marion",), monthly_mean_c=None)
    assert told.target.cap == pytest.approx(9.7649, abs=1e-3)
    assert 0 < told.total.n <= 9.765


@pytest.mark.parametrize("effort", ["few", "monthly", "weekly"])
@pytest.mark.parametrize("southern", [False, True])
def test_totals_are_the_sum_of_the_sheets_doses(effort, southern):
    plot = lawn(latitude=-43.0 if southern else 51.5)
    told = draft(plot, Wishes(effort=effort, moss=True, weeds="small"),
                 monthly_mean_c=SOUTHERN_MILD if southern else MILD)  # fmt: skip
    assert told.stages
    total = sum((nutrients(stage.product) for stage in told.stages for _ in stage.dates), Nutrients())
    for name in ("n", "p2o5", "k2o", "fe", "slow_n"):
        assert getattr(told.total, name) == pytest.approx(getattr(total, name), abs=1e-9)
    assert sum(told.n_by_month_g_m2) == pytest.approx(told.total.n, abs=1e-9)
    assert told.total.n == pytest.approx(told.target.wanted, rel=0.25)


def test_the_years_nitrogen_follows_growth_as_gelernter_and_stowell_reckon_it():
    # Worked year: means 4.0 ... 4.5 C, cool-season grass, 20 g spread by growth potential (Gelernter & Stowell 2005)
    means = (4.0, 4.5, 6.5, 9.0, 12.0, 15.0, 17.0, 16.5, 14.0, 10.5, 7.0, 4.5)
    told = draft(wishes=Wishes(n_g_m2=20), monthly_mean_c=means)
    expected = (0.08, 0.10, 0.26, 0.72, 1.85, 3.52, 4.58, 4.34, 2.93, 1.20, 0.33, 0.10)
    assert told.n_by_growth_g_m2 == pytest.approx(expected, abs=0.006)


def test_spoon_feeding_goes_out_more_often_the_faster_the_grass_grows():
    told = draft(wishes=Wishes(effort="weekly"))
    spoons = of(told, "spoon")
    per_month = [sum(day[:2] == f"{month:02d}" for s in spoons for day in s.dates) for month in range(1, 13)]
    assert per_month[6] > per_month[3]  # July over April
    assert sum(per_month[11:]) + sum(per_month[:2]) == 0  # none in winter
    assert all(0.4 <= nutrients(s.product).n <= 1.25 for s in spoons)  # 0.1 lb per 1000 ft2, extension articles
    assert min(s.every_days[0] for s in spoons) >= 7


# --- the forms in their seasons ----------------------------------------------------------------------------------


def test_a_few_visits_are_a_few():
    told = draft(wishes=Wishes(effort="few", weeds="small"))
    assert 2 <= sum(len(stage.dates) for stage in told.stages if stage.dose.n > 0) <= 4


def test_small_weeds_are_treated_while_they_grow_and_the_months_turn_south_of_the_equator():
    # mid-April to early June or September: extension text
    (north,) = of(draft(wishes=Wishes(weeds="small")), "weeds")
    assert "04-15" <= north.first < north.last <= "06-07"
    plot = lawn(latitude=-43.0)
    (south,) = of(draft(plot, Wishes(weeds="small"), monthly_mean_c=SOUTHERN_MILD), "weeds")
    assert "10-15" <= south.first < south.last <= "12-07"


def test_a_combined_granule_never_goes_on_within_the_sowing_gap():
    told = draft(lawn(sown_on=date(2027, 1, 10)), Wishes(weeds="small"))  # 180 days: until 9 July
    for stage in of(told, "weeds"):
        assert stage.first >= "09-01"
    late = draft(lawn(sown_on=date(2027, 5, 1)), Wishes(weeds="small"))
    assert not of(late, "weeds")
    assert "weeds_not_yet" in about(late)
    assert "new_turf" in about(late)
    assert all(stage.first >= "05-31" for stage in late.stages)  # University of Florida: none for 30-60 days


def test_moss_gets_iron_in_cool_weeks_only():
    told = draft(wishes=Wishes(moss=True))
    irons = of(told, "moss")
    assert len(irons) == 2
    for stage in irons:
        assert 0.5 <= stage.dose.fe <= 1.0  # 0.15-0.20 lb Fe per 1000 ft2: Cook, McDonald & Merrifield
        assert int(stage.first[:2]) in (1, 2, 3, 4, 10, 11, 12)
    assert not of(draft(), "moss")


def test_the_owners_products_come_before_the_generic_sheets():
    told = draft(wishes=Wishes(effort="weekly", weeds="small"))
    assert all(stage.own for stage in told.stages)
    bare = draft(wishes=Wishes(effort="weekly", weeds="small", moss=True), products=())
    assert bare.stages
    assert not any(stage.own for stage in bare.stages)


def test_the_last_feed_holds_more_potash_than_the_first():
    told = draft(products=())
    (first,), (last,) = of(told, "opening"), of(told, "closing")
    assert first.dose.n > first.dose.k2o
    assert last.dose.k2o > last.dose.n
    assert first.first < last.first


def test_a_product_too_strong_at_its_rate_is_left_out():
    strong = product(rate_g_m2=50.0)  # 7.5 g of quick nitrogen; a pound per 1000 ft2 is 4.9: Illinois Extension 1995
    told = draft(products=(strong,))
    assert [(past.product.id, past.reason) for past in told.passed_over] == [("quick", "strong")]
    assert all(stage.product.id != "quick" for stage in told.stages)


def test_a_rule_that_a_lower_rate_would_keep_is_told_with_that_rate():
    # Marion County: 0.7 lb of soluble N at once; 4 g/m2 at 25 g/m2 fits at 0.7 lb = 3.4177 g, 21.36 g/m2
    own = product(analysis="16-0-8", rate_g_m2=25.0)
    plot = lawn(latitude=29.0, grass="warm", species="bermudagrass")
    told = draft(plot, products=(own,), packs=("florida-marion",), monthly_mean_c=None)
    (past,) = told.passed_over
    assert past.reason == "rules"
    assert past.fits_at == pytest.approx(21.36, abs=0.01)


def test_slow_release_is_chosen_where_nobody_waters_and_on_sand():
    slow = product(id="slow", name="Slow", analysis="20-0-8", slow_n_pct=60.0, every_days=(84, 112))
    for plot in (lawn(irrigation="none"), lawn(soil="sand")):
        told = draft(plot, products=(product(), slow))
        assert of(told, "middle")[0].product.id == "slow"
    assert of(draft(products=(product(), slow)), "middle")[0].product.id == "quick"


# --- against -----------------------------------------------------------------------------------------------------


def test_large_weeds_are_not_given_a_combined_granule():
    told = draft(wishes=Wishes(weeds="large"))
    assert "large_weeds" in about(told)
    assert not of(told, "weeds")


def test_iron_beside_paving_is_warned_of_only_where_there_is_both():
    assert "iron_by_paving" in about(draft(lawn(hard_edges=True), Wishes(moss=True)))
    assert "iron_by_paving" not in about(draft(lawn(hard_edges=False), Wishes(moss=True)))
    assert "iron_by_paving" not in about(draft(lawn(hard_edges=True), products=(product(),)))


@pytest.mark.parametrize(
    ("tested", "level", "wanted"),
    [(None, None, False), (date(2026, 3, 1), "low", True), (date(2026, 3, 1), "high", False),
     (date(2019, 3, 1), "low", False)],
)  # fmt: skip
def test_phosphate_goes_on_only_where_a_recent_soil_test_asks_for_it(tested, level, wanted):
    told = draft(lawn(soil_test_on=tested, soil_test_p=level), products=())
    assert (told.total.p2o5 > 0) is wanted
    assert ("phosphate" not in about(told)) is wanted


def test_among_own_products_the_one_without_phosphate_is_taken():
    with_p = product(id="a-with", name="With", analysis="15-5-8")
    assert all(stage.dose.p2o5 == 0 for stage in draft(products=(with_p, product())).stages)
    only = draft(products=(with_p,))
    assert only.total.p2o5 > 0
    assert any("With" in item.advice for item in only.against if item.about == "phosphate")


def test_no_nitrogen_goes_on_cool_grass_late_in_the_year_or_in_great_heat():
    told = draft()
    assert "late_nitrogen" in about(told)
    assert all(stage.last <= "10-31" for stage in told.stages)
    hot = draft(lawn(latitude=39.0), Wishes(effort="weekly"), monthly_mean_c=HOT)
    assert "summer_heat" in about(hot)
    # Virginia DCR, cool-season lawns: none in July and August
    assert all(day[:2] not in ("07", "08") for stage in hot.stages for day in stage.dates)


def test_a_lawn_that_nobody_waters_gets_no_granules_in_midsummer():
    told = draft(lawn(irrigation="none"), Wishes(use="sport"))
    assert "summer_drought" in about(told)
    for stage in told.stages:
        assert stage.last < "07-01" or stage.first > "08-15"


def test_warm_grass_is_not_given_a_combined_granule():
    plot = lawn(latitude=29.0, grass="warm")
    told = draft(plot, Wishes(weeds="small"), monthly_mean_c=None)
    assert "weeds_on_warm_grass" in about(told)
    assert not of(told, "weeds")


# --- places ------------------------------------------------------------------------------------------------------


def test_warm_grass_is_fed_while_it_grows():
    # Virginia DCR, warm-season: April to August; UF/IFAS north Florida: spring to early autumn
    told = draft(lawn(latitude=29.5, grass="warm", species="bermudagrass"), monthly_mean_c=None)
    assert told.climate.assumed
    months = {int(day[:2]) for stage in told.stages for day in stage.dates}
    assert months <= set(range(3, 11))
    assert months & {5, 6, 7, 8}


def test_the_southern_year_is_the_northern_one_half_a_year_on():
    north = draft(wishes=Wishes(effort="weekly", moss=True))
    south = draft(lawn(latitude=-51.5), Wishes(effort="weekly", moss=True), monthly_mean_c=SOUTHERN_MILD)
    assert south.southern
    assert [s.role for s in north.stages] == [s.role for s in south.stages]
    for one, other in zip(north.stages, south.stages, strict=True):
        here, there = (date.fromisoformat(f"2001-{s.first}").timetuple().tm_yday for s in (one, other))
        assert (there - here) % 365 == pytest.approx(182.5, abs=4)


def test_a_place_too_cold_for_the_grass_gets_no_programme_but_a_reason():
    told = draft(lawn(grass="warm"))
    assert told.no_season
    assert told.stages == ()
    assert told.total == Nutrients()


def test_a_climate_that_was_given_is_used_and_a_guess_is_marked():
    assert not draft().climate.assumed
    guessed = draft(monthly_mean_c=None).climate
    assert guessed.assumed
    assert max(guessed.monthly_mean_c) == guessed.monthly_mean_c[6]
    south = draft(lawn(latitude=-35.0), monthly_mean_c=None).climate
    assert max(south.monthly_mean_c) in (south.monthly_mean_c[0], south.monthly_mean_c[1])


def test_a_lawn_too_near_to_water_is_drafted_for_beyond_the_strip():
    near = lawn(latitude=42.0, water_within_m=3.0)
    told = draft(near, packs=("new-york",), products=())
    assert told.keep_from_water_m == pytest.approx(20 * 0.3048)  # N.Y. ECL 17-2103: 20 ft
    assert told.stages
    assert draft(lawn(latitude=42.0, water_within_m=30.0), packs=("new-york",)).keep_from_water_m is None


def test_a_starter_is_named_for_a_lawn_still_to_be_sown_unless_a_rule_forbids_it():
    sown = date(2027, 4, 20)
    allowed = draft(lawn(sown_on=sown)).starter
    assert allowed is not None
    assert allowed.forbidden is None
    plot = lawn(latitude=30.3, grass="warm", sown_on=sown)
    refused = draft(plot, packs=("florida-neptune-beach",), monthly_mean_c=None).starter
    assert refused is not None
    assert refused.forbidden is not None  # Neptune Beach 24-31: none for 30 days
    assert draft(lawn(sown_on=date(2026, 4, 20))).starter is None


def test_the_cost_is_what_the_sheets_prices_make_it():
    priced = product(price_per_kg_or_l=4.0)
    told = draft(products=(priced,))
    cost = told.cost()
    assert cost is not None
    doses = sum(len(s.dates) for s in told.stages if s.product.id == "quick")
    assert cost[0] == pytest.approx(doses * 20 * 100 / 1000 * 4.0)
    assert draft().cost() is None


@pytest.mark.parametrize(
    ("today", "southern", "begins"),
    [(date(2026, 2, 1), False, 2026), (date(2026, 6, 1), False, 2026), (date(2026, 10, 1), False, 2027),
     (date(2026, 8, 1), True, 2026), (date(2027, 1, 2), True, 2026), (date(2027, 4, 1), True, 2027)],
)  # fmt: skip
def test_the_season_drafted_is_the_one_that_lies_ahead(today, southern, begins):
    plot = lawn(latitude=-40.0 if southern else 50.0)
    told = suggest(estate(plot, monthly_mean_c=SOUTHERN_MILD if southern else MILD), plot, Wishes(), today)
    assert told.year == begins
