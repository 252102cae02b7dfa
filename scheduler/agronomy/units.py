"""Named conversions between the units of the trade and SI, from exact definitions.

The pound (0.45359237 kg), foot (0.3048 m), US gallon (231 cubic inches), inch (25.4 mm) and mile (5280 ft) are exact
by definition (NIST SP 811, appendix B). The acre is 43 560 square international feet. Every function is a product
or an affine map of one number, so that each has an exact inverse up to rounding of floats.
"""

KG_PER_LB = 0.45359237
M_PER_FT = 0.3048
MM_PER_IN = 25.4
ML_PER_US_GAL = 231 * 2.54**3
G_PER_LB = 1000 * KG_PER_LB
G_PER_OZ = G_PER_LB / 16
ML_PER_US_FL_OZ = ML_PER_US_GAL / 128
L_PER_US_GAL = ML_PER_US_GAL / 1000
M2_PER_FT2 = M_PER_FT**2
M2_PER_1000FT2 = 1000 * M2_PER_FT2
FT2_PER_ACRE = 43_560.0
M2_PER_ACRE = FT2_PER_ACRE * M2_PER_FT2
M_S_PER_MPH = 5280 * M_PER_FT / 3600
G_M2_PER_LB_1000FT2 = G_PER_LB / M2_PER_1000FT2
G_M2_PER_OZ_1000FT2 = G_PER_OZ / M2_PER_1000FT2
ML_M2_PER_FL_OZ_1000FT2 = ML_PER_US_FL_OZ / M2_PER_1000FT2
ML_M2_PER_GAL_1000FT2 = ML_PER_US_GAL / M2_PER_1000FT2
L_HA_PER_GAL_AC = L_PER_US_GAL * 10_000 / M2_PER_ACRE
KG_HA_PER_LB_AC = KG_PER_LB * 10_000 / M2_PER_ACRE
KG_L_PER_LB_GAL = KG_PER_LB / L_PER_US_GAL

# --- mass on an area ---------------------------------------------------------------------------------------------


def g_m2_from_lb_1000ft2(lb_1000ft2: float) -> float:
    """lb per 1000 square feet -> g/m2."""
    return lb_1000ft2 * G_M2_PER_LB_1000FT2


def lb_1000ft2_from_g_m2(g_m2: float) -> float:
    """g/m2 -> lb per 1000 square feet."""
    return g_m2 / G_M2_PER_LB_1000FT2


def g_m2_from_oz_1000ft2(oz_1000ft2: float) -> float:
    """Avoirdupois oz per 1000 square feet -> g/m2."""
    return oz_1000ft2 * G_M2_PER_OZ_1000FT2


def oz_1000ft2_from_g_m2(g_m2: float) -> float:
    """g/m2 -> avoirdupois oz per 1000 square feet."""
    return g_m2 / G_M2_PER_OZ_1000FT2


def g_m2_from_kg_ha(kg_ha: float) -> float:
    """kg/ha -> g/m2."""
    return kg_ha / 10


def kg_ha_from_g_m2(g_m2: float) -> float:
    """g/m2 -> kg/ha."""
    return g_m2 * 10


def kg_ha_from_lb_ac(lb_ac: float) -> float:
    """lb per acre -> kg/ha."""
    return lb_ac * KG_HA_PER_LB_AC


def lb_ac_from_kg_ha(kg_ha: float) -> float:
    """kg/ha -> lb per acre."""
    return kg_ha / KG_HA_PER_LB_AC


def lb_1000ft2_from_kg_ha(kg_ha: float) -> float:
    """kg/ha -> lb per 1000 square feet."""
    return lb_1000ft2_from_g_m2(g_m2_from_kg_ha(kg_ha))


def kg_ha_from_lb_1000ft2(lb_1000ft2: float) -> float:
    """lb per 1000 square feet -> kg/ha."""
    return kg_ha_from_g_m2(g_m2_from_lb_1000ft2(lb_1000ft2))


# --- volume on an area -------------------------------------------------------------------------------------------


def ml_m2_from_fl_oz_1000ft2(fl_oz_1000ft2: float) -> float:
    """US fluid oz per 1000 square feet -> ml/m2."""
    return fl_oz_1000ft2 * ML_M2_PER_FL_OZ_1000FT2


def fl_oz_1000ft2_from_ml_m2(ml_m2: float) -> float:
    """ml/m2 -> US fluid oz per 1000 square feet."""
    return ml_m2 / ML_M2_PER_FL_OZ_1000FT2


def ml_m2_from_gal_1000ft2(gal_1000ft2: float) -> float:
    """US gallons per 1000 square feet -> ml/m2."""
    return gal_1000ft2 * ML_M2_PER_GAL_1000FT2


def gal_1000ft2_from_ml_m2(ml_m2: float) -> float:
    """ml/m2 -> US gallons per 1000 square feet."""
    return ml_m2 / ML_M2_PER_GAL_1000FT2


def l_100m2_from_gal_1000ft2(gal_1000ft2: float) -> float:
    """US gallons per 1000 square feet -> litres per 100 m2."""
    return ml_m2_from_gal_1000ft2(gal_1000ft2) / 10


def gal_1000ft2_from_l_100m2(l_100m2: float) -> float:
    """Litres per 100 m2 -> US gallons per 1000 square feet."""
    return gal_1000ft2_from_ml_m2(l_100m2 * 10)


def l_ha_from_ml_m2(ml_m2: float) -> float:
    """ml/m2 -> litres per hectare."""
    return ml_m2 * 10


def ml_m2_from_l_ha(l_ha: float) -> float:
    """Litres per hectare -> ml/m2."""
    return l_ha / 10


def l_ha_from_gal_ac(gal_ac: float) -> float:
    """US gallons per acre -> litres per hectare."""
    return gal_ac * L_HA_PER_GAL_AC


def gal_ac_from_l_ha(l_ha: float) -> float:
    """Litres per hectare -> US gallons per acre."""
    return l_ha / L_HA_PER_GAL_AC


def gal_ac_from_gal_1000ft2(gal_1000ft2: float) -> float:
    """US gallons per 1000 square feet -> per acre."""
    return gal_1000ft2 * FT2_PER_ACRE / 1000


# --- plain quantities --------------------------------------------------------------------------------------------


def g_from_lb(lb: float) -> float:
    """lb -> g."""
    return lb * G_PER_LB


def lb_from_g(g: float) -> float:
    """g -> lb."""
    return g / G_PER_LB


def g_from_oz(oz: float) -> float:
    """Avoirdupois oz -> g."""
    return oz * G_PER_OZ


def oz_from_g(g: float) -> float:
    """g -> avoirdupois oz."""
    return g / G_PER_OZ


def l_from_gal(gal: float) -> float:
    """US gallons -> litres."""
    return gal * L_PER_US_GAL


def gal_from_l(litres: float) -> float:
    """Litres -> US gallons."""
    return litres / L_PER_US_GAL


def ml_from_fl_oz(fl_oz: float) -> float:
    """US fluid oz -> ml."""
    return fl_oz * ML_PER_US_FL_OZ


def fl_oz_from_ml(ml: float) -> float:
    """ml -> US fluid oz."""
    return ml / ML_PER_US_FL_OZ


def kg_l_from_lb_gal(lb_gal: float) -> float:
    """Density: lb per US gallon -> kg/l."""
    return lb_gal * KG_L_PER_LB_GAL


def lb_gal_from_kg_l(kg_l: float) -> float:
    """Density: kg/l -> lb per US gallon."""
    return kg_l / KG_L_PER_LB_GAL


def mm_from_in(inches: float) -> float:
    """Inches -> mm."""
    return inches * MM_PER_IN


def in_from_mm(mm: float) -> float:
    """mm -> inches."""
    return mm / MM_PER_IN


def m_from_ft(ft: float) -> float:
    """Feet -> m."""
    return ft * M_PER_FT


def ft_from_m(m: float) -> float:
    """m -> feet."""
    return m / M_PER_FT


def m2_from_ft2(ft2: float) -> float:
    """Square feet -> m2."""
    return ft2 * M2_PER_FT2


def ft2_from_m2(m2: float) -> float:
    """m2 -> square feet."""
    return m2 / M2_PER_FT2


def m2_from_ac(acres: float) -> float:
    """Acres -> m2."""
    return acres * M2_PER_ACRE


def ac_from_m2(m2: float) -> float:
    """m2 -> acres."""
    return m2 / M2_PER_ACRE


def m_s_from_mph(mph: float) -> float:
    """Miles per hour -> m/s."""
    return mph * M_S_PER_MPH


def mph_from_m_s(m_s: float) -> float:
    """m/s -> miles per hour."""
    return m_s / M_S_PER_MPH


def m_s_from_km_h(km_h: float) -> float:
    """km/h -> m/s."""
    return km_h / 3.6


def km_h_from_m_s(m_s: float) -> float:
    """m/s -> km/h."""
    return m_s * 3.6


def c_from_f(fahrenheit: float) -> float:
    """Degrees Fahrenheit -> Celsius."""
    return (fahrenheit - 32) / 1.8


def f_from_c(celsius: float) -> float:
    """Degrees Celsius -> Fahrenheit."""
    return celsius * 1.8 + 32


def degree_days_c_from_f(f_days: float) -> float:
    """Degree days (a difference, no offset): F.d -> C.d."""
    return f_days / 1.8


def degree_days_f_from_c(c_days: float) -> float:
    """Degree days (a difference, no offset): C.d -> F.d."""
    return c_days * 1.8
