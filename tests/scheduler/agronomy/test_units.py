"""Conversions against published factors, and each pair undoing itself."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from scheduler.agronomy import units as u

# NIST SP 811 definitions (exact), worked out to six digits.
FACTORS = [
    (u.g_m2_from_lb_1000ft2, 4.882428),
    (u.kg_ha_from_lb_1000ft2, 48.82428),
    (u.lb_1000ft2_from_kg_ha, 0.0204816),
    (u.kg_ha_from_g_m2, 10.0),
    (u.kg_ha_from_lb_ac, 1.120851),
    (u.g_m2_from_oz_1000ft2, 0.3051517),
    (u.ml_m2_from_fl_oz_1000ft2, 0.3183266),
    (u.l_100m2_from_gal_1000ft2, 4.074580),
    (u.ml_m2_from_gal_1000ft2, 40.74580),
    (u.l_ha_from_gal_ac, 9.353958),
    (u.m_s_from_mph, 0.44704),
    (u.m_s_from_km_h, 1 / 3.6),
    (u.m2_from_ft2, 0.09290304),
    (u.m2_from_ac, 4046.856422),
    (u.kg_l_from_lb_gal, 0.1198264),
    (u.g_from_lb, 453.59237),
    (u.g_from_oz, 28.349523),
    (u.ml_from_fl_oz, 29.573530),
    (u.l_from_gal, 3.785411784),
    (u.m_from_ft, 0.3048),
]


@pytest.mark.parametrize(("convert", "factor"), FACTORS, ids=lambda x: getattr(x, "__name__", ""))
def test_factor_of_nist_sp_811(convert, factor):
    assert convert(1.0) == approx(factor, rel=1e-6)


def test_pounds_per_acre_to_pounds_per_thousand_square_feet():
    # NIST SP 811 with 43 560 ft2 to the acre: 0.0229568
    assert u.lb_1000ft2_from_kg_ha(u.kg_ha_from_lb_ac(1.0)) == approx(0.0229568, abs=5e-8)


@pytest.mark.parametrize(
    ("lb", "g_m2"),
    # Nitrogen caps of US law and extension sheets, lb/1000 ft2, by NIST SP 811
    [(0.1, 0.488), (0.25, 1.221), (0.5, 2.441), (0.7, 3.418), (0.9, 4.394), (1.0, 4.882), (2.5, 12.21), (4.25, 20.75)],
)
def test_nitrogen_caps_in_metric(lb, g_m2):
    assert u.g_m2_from_lb_1000ft2(lb) == approx(g_m2, abs=5e-3 if g_m2 > 10 else 5e-4)


def test_gallons_per_thousand_square_feet_to_the_acre():
    # Virginia Coop. Ext. 456-502 as cited: 1.5 gal on 1000 ft2 is 65 gal/ac
    assert u.gal_ac_from_gal_1000ft2(1.5) == approx(65, abs=0.5)


def test_rain_depths():
    # NIST SP 811: 1 in = 25.4 mm
    assert [u.mm_from_in(x) for x in (0.25, 0.5, 1.0)] == approx([6.35, 12.7, 25.4])


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32, 0), (212, 100), (-40, -40), (50, 10), (88, 31.1111)])
def test_temperatures(fahrenheit, celsius):
    # definition of the Fahrenheit scale, NIST SP 811
    assert u.c_from_f(fahrenheit) == approx(celsius, abs=1e-4)


def test_degree_days_have_no_offset():
    # Oregon State Extension CCES 202: 200 C.d = 360 F.d
    assert u.degree_days_f_from_c(200) == approx(360)
    assert u.degree_days_c_from_f(360) == approx(200)


PAIRS = [
    (u.g_m2_from_lb_1000ft2, u.lb_1000ft2_from_g_m2),
    (u.g_m2_from_oz_1000ft2, u.oz_1000ft2_from_g_m2),
    (u.g_m2_from_kg_ha, u.kg_ha_from_g_m2),
    (u.kg_ha_from_lb_ac, u.lb_ac_from_kg_ha),
    (u.kg_ha_from_lb_1000ft2, u.lb_1000ft2_from_kg_ha),
    (u.ml_m2_from_fl_oz_1000ft2, u.fl_oz_1000ft2_from_ml_m2),
    (u.ml_m2_from_gal_1000ft2, u.gal_1000ft2_from_ml_m2),
    (u.l_100m2_from_gal_1000ft2, u.gal_1000ft2_from_l_100m2),
    (u.l_ha_from_ml_m2, u.ml_m2_from_l_ha),
    (u.l_ha_from_gal_ac, u.gal_ac_from_l_ha),
    (u.g_from_lb, u.lb_from_g),
    (u.g_from_oz, u.oz_from_g),
    (u.l_from_gal, u.gal_from_l),
    (u.ml_from_fl_oz, u.fl_oz_from_ml),
    (u.kg_l_from_lb_gal, u.lb_gal_from_kg_l),
    (u.mm_from_in, u.in_from_mm),
    (u.m_from_ft, u.ft_from_m),
    (u.m2_from_ft2, u.ft2_from_m2),
    (u.m2_from_ac, u.ac_from_m2),
    (u.m_s_from_mph, u.mph_from_m_s),
    (u.m_s_from_km_h, u.km_h_from_m_s),
    (u.c_from_f, u.f_from_c),
    (u.degree_days_c_from_f, u.degree_days_f_from_c),
]


@pytest.mark.parametrize(("there", "back"), PAIRS, ids=lambda x: x.__name__)
@given(x=st.floats(-1e6, 1e6))
def test_each_conversion_is_undone_by_its_inverse(there, back, x):
    assert back(there(x)) == approx(x, rel=1e-12, abs=1e-9)
    assert there(back(x)) == approx(x, rel=1e-12, abs=1e-9)


def test_every_conversion_has_a_published_check_or_an_inverse():
    public = {name for name in vars(u) if "_from_" in name and not name.startswith("_")}
    checked = {f.__name__ for pair in PAIRS for f in pair} | {"gal_ac_from_gal_1000ft2"}
    assert public == checked
