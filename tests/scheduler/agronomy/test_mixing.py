"""Tank fills, calibration and what must not share a tank."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from scheduler.agronomy import mixing as mx
from scheduler.agronomy.nutrients import nutrients, rate_for
from scheduler.agronomy.units import l_ha_from_ml_m2
from tests.scheduler.agronomy.sheets import liquid, product


def test_knapsack_of_fifteen_litres():
    # Arithmetic on a spray volume of 60 ml/m2 (Woods 2010, hand sprayers 40-80 ml/m2) and 12 % w/w at 1.18 kg/l:
    # 15 l cover 250 m2 and take 883 ml of product, water to 15 l
    sheet = liquid()
    mix = mx.mix(sheet, 250, 15, rate_for(sheet, 0.5))
    assert mx.area_covered_m2(15, 60) == approx(250)
    assert (mix.full_fills, mix.part) == (1, None)
    assert mix.full is not None
    assert mix.full.product == approx(883, abs=0.5)
    assert mix.full.spray_l == approx(15)
    assert mix.full.water_l == approx(15 - 0.883, abs=5e-4)
    assert mix.full.area_m2 == approx(250)
    assert mix.nutrients.n == approx(0.5)


def test_full_fills_and_a_part_fill():
    mix = mx.mix(liquid(rate_ml_m2=3), 600, 15)
    assert mix.spray_l == approx(36)
    assert mix.full_fills == 2
    assert mix.full is not None and mix.part is not None
    assert (mix.full.product, mix.full.water_l) == approx((750, 14.25))
    assert (mix.part.spray_l, mix.part.product, mix.part.water_l, mix.part.area_m2) == approx((6, 300, 5.7, 100))
    assert (mix.product, mix.water_l) == approx((1800, 34.2))


def test_granules_have_no_water():
    mix = mx.mix(product(rate_g_m2=25), 120, 15)
    assert (mix.product, mix.unit, mix.spray_l, mix.full, mix.part) == (3000, "g", None, None, None)
    job = mx.job_for(product(rate_g_m2=25), 120, 15)
    assert (job.product_g, job.product_ml, job.water_l, job.fills) == (3000, None, None, None)


def test_powder_is_made_up_with_water_to_the_mark():
    mix = mx.mix(product(form="liquid", rate_g_m2=4, water_ml_m2=100), 300, 15)
    assert mix.full is not None
    assert (mix.unit, mix.full_fills, mix.full.product, mix.full.water_l) == ("g", 2, approx(600), approx(15))


def test_job_carries_the_whole_lawn_and_its_nutrients():
    sheet = liquid(analysis="12-3-6", iron_pct=1, rate_ml_m2=3)
    job = mx.job_for(sheet, 600, 15)
    given_ = nutrients(sheet)
    assert (job.area_m2, job.product_ml, job.product_g) == (600, approx(1800), None)
    assert (job.water_l, job.fills) == (approx(36), approx(2.4))
    assert (job.n_g_m2, job.p2o5_g_m2, job.k2o_g_m2, job.fe_g_m2) == (given_.n, given_.p2o5, given_.k2o, given_.fe)


@given(
    area=st.floats(1, 1e6),
    tank=st.floats(1, 5000),
    rate=st.floats(0.1, 30),
    water=st.floats(30, 3000),
    dry=st.booleans(),
)
def test_fills_sum_to_the_total(area, tank, rate, water, dry):
    sheet = (
        product(form="liquid", rate_g_m2=rate, water_ml_m2=water) if dry else liquid(rate_ml_m2=rate, water_ml_m2=water)
    )
    mix = mx.mix(sheet, area, tank)
    fills = [(mix.full, mix.full_fills)] if mix.full else []
    fills += [(mix.part, 1)] if mix.part else []
    totals = {"product": mix.product, "spray_l": mix.spray_l, "water_l": mix.water_l, "area_m2": area}
    for name, total in totals.items():
        assert sum(getattr(fill, name) * times for fill, times in fills) == approx(total, rel=1e-8, abs=1e-9)
    for fill, times in fills:
        assert times >= 1
        assert 0 < fill.spray_l <= tank * (1 + 1e-9)
        assert fill.product / fill.spray_l == approx(rate / water * 1000)
        assert 0 <= fill.water_l <= fill.spray_l


def test_a_rest_of_rounding_is_no_fill():
    # 0.1 + 0.2 style floats: 3 x 0.1 l tanks hold 0.3 l
    mix = mx.mix(liquid(rate_ml_m2=1, water_ml_m2=100), 3, 0.1)
    assert (mix.full_fills, mix.part) == (3, None)


@pytest.mark.parametrize(("area", "tank", "rate"), [(0, 15, 3), (-1, 15, 3), (9, 0, 3), (9, 15, 0), (9, 15, 61)])
def test_impossible_mixes_are_refused(area, tank, rate):
    with pytest.raises(ValueError, match=r"above 0|do not fit"):
        mx.mix(liquid(), area, tank, rate)


def test_dilution():
    # definition: 3.53 ml in 60 ml of spray is 1 part to 16.0 parts of water
    assert mx.dilution_ratio(3.53, 60) == approx(16.0, abs=5e-3)
    assert mx.dilution_ratio(10, 10) == 0
    with pytest.raises(ValueError, match="more product"):
        mx.dilution_ratio(11, 10)


def test_timing_test_of_a_knapsack():
    # Woods 2010, Handheld or backpack sprayer calibration: ml / 9 is ml/m2, ml / 0.9 is l/ha
    assert mx.knapsack_ml_m2(450) == approx(50)
    assert l_ha_from_ml_m2(mx.knapsack_ml_m2(450)) == approx(450 / 0.9)


def test_one_hundred_and_twenty_eighth_of_an_acre():
    # UF/IFAS Alachua and Larimer County: fluid oz caught on 18.5 x 18.5 ft equal gal/ac
    assert approx(340.31, abs=5e-3) == mx.PLOT_128TH_ACRE_FT2
    assert approx(18.5 * 18.5, rel=0.006) == mx.PLOT_128TH_ACRE_FT2  # and not 8.5 x 18.5 ft, a misprint in circulation
    assert mx.gal_ac_from_128th_acre(25) == approx(25)
    # NC State Extension: 340 / 6 ft is a 57 ft course; 8 oz/ac at 7.5 gal/ac is 1.07 oz/gal, 3.2 oz in 3 gal
    assert mx.course_ft(6) == approx(57, abs=0.5)
    assert mx.per_tank(8, mx.gal_ac_from_128th_acre(7.5), 1) == approx(1.07, abs=5e-3)
    assert mx.per_tank(8, mx.gal_ac_from_128th_acre(7.5), 3) == approx(3.2)


def test_pints_per_acre_to_ounces_per_gallon():
    # post citing Virginia Coop. Ext. 456-502: 3 pt/ac at 65 gal/ac is 0.046 pt or 0.74 fl oz per gallon
    assert mx.per_tank(3, 65, 1) == approx(0.046, abs=5e-4)
    assert mx.per_tank(3 * 16, 65, 1) == approx(0.74, abs=5e-3)


def test_boom():
    # equipment handbook: l/ha = 600 x l/min / (m x km/h); 1.2 l/min, 1 m, 4 km/h give 180 l/ha
    assert mx.boom_l_ha(1.2, 1.0, 4.0) == approx(180)
    assert mx.boom_l_min(180, 1.0, 4.0) == approx(1.2)


@given(flow=st.floats(0.1, 100), swath=st.floats(0.2, 40), speed=st.floats(0.5, 30))
def test_boom_flow_and_volume_undo_each_other(flow, swath, speed):
    assert mx.boom_l_min(mx.boom_l_ha(flow, swath, speed), swath, speed) == approx(flow)


def test_spreader_catch():
    # extension spreader check: a 25 lb bag for 5000 ft2 drops 0.5 lb on 10 x 10 ft; 0.5 lb on 50 ft2 is twice that
    assert mx.spreader_check(0.5, 100, 25 / 5000) == mx.Check(0.005, 0.005, 0.0, "keep")
    twice = mx.spreader_check(0.5, 50, 25 / 5000)
    assert (twice.error, twice.advice) == (approx(1.0), "less")


@pytest.mark.parametrize(
    ("applied", "advice"), [(94, "more"), (95, "keep"), (100, "keep"), (105, "keep"), (106, "less"), (0, "more")]
)
def test_advice_outside_five_per_cent(applied, advice):
    # recalibrate outside +-5 %: value from memory
    assert mx.check_rate(applied, 100).advice == advice


def test_two_half_passes():
    # Rutgers Snyder Farm: for 0.9 lb N per 1000 ft2 set each pass to 0.45
    assert mx.half_passes(0.9) == (0.45, 0.45)


def test_what_must_not_share_a_tank():
    # spray-mix course notes: calcium with sulphate or phosphate, phosphate with iron, magnesium with ammonium
    # phosphate, ammonium with lime
    iron = liquid(id="iron", name="Iron", analysis="0-0-0", iron_pct=6)
    phosphate = liquid(id="root", name="Root", analysis="5-20-0", contains=("ammonium",))
    calcium = liquid(id="ca", name="Calcium", contains=("calcium",))
    sulphate = liquid(id="s", name="Sulphate", contains=("sulphate",))
    magnesium = liquid(id="mg", name="Magnesium", contains=("magnesium",))
    lime = liquid(id="lime", name="Lime", contains=("lime",))
    plain = liquid(id="n", name="Nitrogen")
    for one, other in [
        (iron, phosphate),
        (calcium, sulphate),
        (calcium, phosphate),
        (magnesium, phosphate),
        (phosphate, lime),
        (iron, lime),
    ]:
        assert len(mx.tank_warnings([one, other])) == 1
        assert len(mx.tank_warnings([other, one])) == 1
    assert mx.tank_warnings([plain, iron]) == ()
    assert mx.tank_warnings([plain, phosphate, plain]) == ()
    assert mx.tank_warnings([liquid(analysis="10-5-5", iron_pct=2)]) == ()
    assert len(mx.tank_warnings([plain, iron, phosphate, calcium])) == 2
