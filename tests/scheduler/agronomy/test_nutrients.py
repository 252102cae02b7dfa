"""Label analysis to nutrients and back, against extension sheets."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from scheduler.agronomy import nutrients as nu
from scheduler.agronomy.units import (
    g_m2_from_kg_ha,
    g_m2_from_lb_1000ft2,
    gal_ac_from_l_ha,
    kg_ha_from_lb_ac,
    kg_l_from_lb_gal,
    l_ha_from_ml_m2,
    lb_1000ft2_from_g_m2,
    lb_gal_from_kg_l,
)
from tests.scheduler.agronomy.sheets import liquid, product

rates = st.floats(0.01, 500)
percents = st.integers(0, 33)


def test_oxide_factors_of_iupac_weights():
    # IUPAC standard atomic weights, four digits
    p, o, k, mg, ca, s, fe, h = 30.973762, 15.999, 39.0983, 24.305, 40.078, 32.06, 55.845, 1.008
    sulphate = fe + s + 4 * o
    assert approx(2 * p / (2 * p + 5 * o), abs=1e-4) == nu.P_PER_P2O5
    assert approx(2 * k / (2 * k + o), abs=1e-4) == nu.K_PER_K2O
    assert approx(mg / (mg + o), abs=1e-4) == nu.MG_PER_MGO
    assert approx(ca / (ca + o), abs=1e-4) == nu.CA_PER_CAO
    assert approx(s / (s + 3 * o), abs=1e-4) == nu.S_PER_SO3
    assert approx(fe / sulphate, abs=1e-4) == nu.FE_PER_FESO4
    assert approx(fe / (sulphate + 2 * h + o), abs=1e-4) == nu.FE_PER_FESO4_H2O
    assert approx(fe / (sulphate + 7 * (2 * h + o)), abs=1e-4) == nu.FE_PER_FESO4_7H2O


def test_bag_of_the_minnesota_table():
    # Univ. of Minnesota Extension, SULIS tables 7.2-7.4: 60 lb of 30-4-4 (here 60 lb on 1000 ft2)
    got = nu.nutrients(product(analysis="30-4-4", rate_g_m2=g_m2_from_lb_1000ft2(60)))
    in_lb = [lb_1000ft2_from_g_m2(x) for x in (got.n, got.p2o5, got.k2o, got.p, got.k)]
    assert in_lb == approx([18.0, 2.4, 2.4, 1.1, 2.0], abs=0.06)


def test_bag_of_the_cornell_sheet():
    # Cornell Coop. Ext. Suffolk: a 30 lb bag of 24-2-8 holds 7.2 lb N, 0.6 P2O5, 2.4 K2O
    got = nu.nutrients(product(analysis="24-2-8", rate_g_m2=30))
    assert (got.n, got.p2o5, got.k2o) == approx((7.2, 0.6, 2.4))


@pytest.mark.parametrize(
    ("lb_n", "label_n", "lb_product"),
    [
        (1.0, 24, 4.17),  # N.C. Coop. Ext., Henderson County
        (0.5, 10, 5.0),  # NC State TurfFiles
        (1.0, 14, 7.14),  # N.C. Coop. Ext., Henderson County (printed 7)
        (1.0, 35, 2.86),  # likewise (printed 3)
        (1.0, 6, 16.67),  # likewise (printed 17)
        (0.9, 20, 4.5),  # Purdue AY-22 rule: target / (label N / 100)
        (1.0, 16, 6.25),  # likewise
    ],
)
def test_product_for_a_target_of_nitrogen(lb_n, label_n, lb_product):
    sheet = product(analysis=f"{label_n}-0-0")
    rate = nu.rate_for(sheet, g_m2_from_lb_1000ft2(lb_n))
    assert lb_1000ft2_from_g_m2(rate) == approx(lb_product, abs=5e-3)


def test_metric_granule():
    # Purdue AY-22 rule and IUPAC weights: 2.5 g N/m2 from 20-5-10 is 12.5 g/m2 with 0.273 g P and 1.038 g K
    sheet = product(analysis="20-5-10")
    rate = nu.rate_for(sheet, 2.5)
    got = nu.nutrients(sheet, rate)
    assert rate == approx(12.5)
    assert (got.p2o5, got.k2o, got.p, got.k) == approx((0.625, 1.25, 0.273, 1.038), abs=5e-4)


@pytest.mark.parametrize(
    ("label_n", "lb_gal", "lb_n_gal"),
    # Purdue Ext. (Camberato), a vineyard tailgate sheet and 32 % UAN: lb N per gallon = % / 100 x lb/gal
    [(28, 10.6, 2.968), (10, 10.69, 1.069), (32, 11.06, 3.539)],
)
def test_nitrogen_in_a_gallon(label_n, lb_gal, lb_n_gal):
    sheet = liquid(analysis=f"{label_n}-0-0", density_kg_l=kg_l_from_lb_gal(lb_gal), rate_ml_m2=1)
    g_per_ml = nu.nutrients(sheet).n
    assert lb_gal_from_kg_l(g_per_ml) == approx(lb_n_gal, abs=5e-4)


def test_gallons_for_a_block():
    # vineyard tailgate sheet 648: 15 lb N/ac from 1.069 lb/gal is 14.03 gal/ac, 280.6 gal on 20 ac
    sheet = liquid(analysis="10-10-10", density_kg_l=kg_l_from_lb_gal(10.69))
    rate_ml_m2 = nu.rate_for(sheet, g_m2_from_kg_ha(kg_ha_from_lb_ac(15)))
    gal_ac = gal_ac_from_l_ha(l_ha_from_ml_m2(rate_ml_m2))
    assert gal_ac == approx(14.03, abs=5e-3)
    assert gal_ac * 20 == approx(280.6, abs=0.1)


def test_weight_label_by_volume_needs_the_density():
    # definition of w/w: 12 % at 1.18 kg/l is 141.6 g N/l (not 120); 0.5 g N/m2 is 3.53 ml/m2
    assert nu.nutrients(liquid(rate_ml_m2=1000)).n == approx(141.6)
    assert nu.rate_for(liquid(), 0.5) == approx(3.53, abs=5e-3)
    assert nu.nutrients(liquid(analysis="28-0-0", density_kg_l=1.2702, rate_ml_m2=1000)).n == approx(355.6, abs=0.1)
    with pytest.raises(ValueError, match="density"):
        nu.nutrients(liquid(density_kg_l=None))


def test_volume_label_is_grams_in_100_ml():
    # definition of w/v: 12 % is 120 g/l whatever the density
    assert nu.nutrients(liquid(basis="w/v", density_kg_l=None, rate_ml_m2=1000)).n == approx(120)
    assert nu.nutrients(product(basis="w/v", density_kg_l=1.25, analysis="12-0-0", rate_g_m2=10)).n == approx(0.96)
    with pytest.raises(ValueError, match="density"):
        nu.nutrients(product(basis="w/v", analysis="12-0-0"))


def test_iron_of_a_heptahydrate_dose():
    # Oregon State (Cook, McDonald & Merrifield): 0.15-0.20 lb Fe/1000 ft2 is 3.6-4.9 g/m2 of the heptahydrate
    salt = product(analysis="0-0-0", iron_pct=20.09)
    for lb, grams in [(0.15, 3.6), (0.20, 4.9)]:
        assert nu.nutrients(salt, grams).fe == approx(g_m2_from_lb_1000ft2(lb), abs=0.02)


def test_slow_share_and_class():
    # UF/IFAS Duval: 15-0-15 with 7 % slow N has 46.67 % of its N slow
    assert nu.slow_share(15, 7) == approx(0.4667, abs=5e-5)
    # Cornell Coop. Ext. Suffolk: WIN / N above 0.29 slow, 0.15-0.29 moderate, up to 0.15 quick (not N / WIN)
    assert [nu.slow_class(x) for x in (0.0, 0.15, 0.16, 0.29, 0.30, 1.0)] == [
        "quick",
        "quick",
        "moderate",
        "moderate",
        "slow",
        "slow",
    ]


def test_slow_part_of_a_product():
    got = nu.nutrients(product(analysis="15-0-15", slow_n_pct=46.67, rate_g_m2=100))
    assert (got.slow_n, got.soluble_n) == approx((7.0, 8.0), abs=2e-3)


def test_salt_strength_of_a_leaf_feed():
    # common practice figure: 0.5 g N/m2 as urea (46-0-0) in 60 ml/m2 is 1.81 % w/v
    urea = product(form="liquid", analysis="46-0-0", rate_g_m2=1, water_ml_m2=60)
    assert nu.spray_strength_pct(urea, nu.rate_for(urea, 0.5)) == approx(1.81, abs=5e-3)
    assert nu.spray_strength_pct(liquid()) == approx(100 * 3.53 * 1.18 / 60)
    assert nu.spray_strength_pct(liquid(density_kg_l=None)) is None
    assert nu.spray_strength_pct(product()) is None


@given(n=percents, p=percents, k=percents, fe=percents, slow=st.integers(0, 100), rate=rates, factor=st.floats(0.1, 10))
def test_nutrients_are_linear_in_the_rate(n, p, k, fe, slow, rate, factor):
    sheet = product(analysis=f"{n}-{p}-{k}", iron_pct=fe, slow_n_pct=slow)
    once, more = nu.nutrients(sheet, rate), nu.nutrients(sheet, rate * factor)
    for name in nu.Nutrients.__dataclass_fields__:
        assert getattr(more, name) == approx(getattr(once, name) * factor, abs=1e-9)
    assert once.slow_n + once.soluble_n == approx(once.n)
    assert 0 <= once.slow_n <= once.n
    assert nu.slow_share(once.n, once.slow_n) == approx(slow / 100 if n else 0.0)
    assert once.n + once.p2o5 + once.k2o <= rate * (1 + 1e-12)
    assert nu.nutrients(sheet, rate) + nu.nutrients(sheet, 0) == once


@given(n=st.integers(1, 60), target=st.floats(0, 50), basis=st.sampled_from(["w/w", "w/v"]), density=st.floats(0.6, 2))
def test_rate_for_a_target_gives_that_target(n, target, basis, density):
    for sheet in (
        liquid(analysis=f"{n}-0-0", basis=basis, density_kg_l=density),
        product(analysis=f"{n}-0-0", basis=basis, density_kg_l=density),
    ):
        assert nu.nutrients(sheet, nu.rate_for(sheet, target)).n == approx(target)


def test_what_cannot_be_computed_is_refused():
    with pytest.raises(ValueError, match="nitrogen"):
        nu.rate_for(product(analysis="0-0-0"), 1.0)
    with pytest.raises(ValueError, match="rate"):
        nu.nutrients(product(rate_g_m2=None))
    for wrong in (-1.0, float("nan")):
        with pytest.raises(ValueError, match=">= 0"):
            nu.nutrients(product(), wrong)
        with pytest.raises(ValueError, match=">= 0"):
            nu.rate_for(product(), wrong)


def test_recorded_amount_as_a_rate():
    assert nu.rate_of_amount(product(rate_g_m2=25), None, 120) == 25
    assert nu.rate_of_amount(product(rate_g_m2=25), 3000, 120) == 25
    assert nu.rate_of_amount(liquid(), 420, 120) == 3.5
