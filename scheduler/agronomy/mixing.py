"""What to measure out: tank fills, dilution, sprayer and spreader calibration, and what must not share a tank.

`water_ml_m2` of a sheet is the finished spray volume, product included.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from config.models import Product
from scheduler.agronomy.nutrients import Nutrients, nutrients, sheet_rate
from scheduler.agronomy.units import FT2_PER_ACRE
from scheduler.values import Job

PLOT_128TH_ACRE_FT2 = FT2_PER_ACRE / 128  # 340.3125 ft2: fluid oz caught on it equal gallons per acre
SPREADER_TOLERANCE = 0.05  # from memory; nozzle checks commonly allow 0.10
# Order in which parts go into a tank that is half full of water (extension spray guides, "W-A-L-E-S").
MIX_ORDER = (
    "water conditioner",
    "wettable powders and dry flowables",
    "agitate",
    "liquids and flowables",
    "emulsifiable concentrates",
    "surfactants",
    "soluble fertiliser",
)


@dataclass(frozen=True)
class Fill:
    """One tank fill: finished volume, the product in it (ml or g as the sheet) and the water that makes it up."""

    spray_l: float
    product: float
    water_l: float
    area_m2: float


@dataclass(frozen=True)
class Mix:
    """What to measure out for an area. `product` is ml or g as `unit` says; the fills are None for dry products."""

    area_m2: float
    unit: Literal["ml", "g"]
    product: float
    spray_l: float | None
    water_l: float | None
    full_fills: int
    full: Fill | None
    part: Fill | None
    nutrients: Nutrients


@dataclass(frozen=True)
class Check:
    """Result of a calibration: what went out, what was wanted, the error as a fraction, and what to do."""

    applied: float
    target: float
    error: float
    advice: Literal["keep", "less", "more"]


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be a number above 0, got {value}")


def mix(product: Product, area_m2: float, tank_l: float, rate: float | None = None) -> Mix:
    """Product, water and tank fills for an area. A powder (g/m2) is taken to displace no water.

    ValueError if area, tank or rate are not above 0, or if more product than finished spray is asked for.
    """
    used, unit = _checked(product, area_m2, tank_l, rate)
    spray_l, amount = _whole(product, area_m2, used)
    given, water_ml_m2 = nutrients(product, used), product.water_ml_m2
    if spray_l is None or water_ml_m2 is None:
        return Mix(area_m2, unit, amount, None, None, 0, None, None, given)
    fills, part_l = _split(spray_l, tank_l)

    def fill(volume_l: float) -> Fill:
        area = volume_l * 1000 / water_ml_m2
        return Fill(volume_l, area * used, max(0.0, volume_l - (area * used / 1000 if unit == "ml" else 0.0)), area)

    whole = fill(spray_l)
    return Mix(
        area_m2=area_m2,
        unit=unit,
        product=whole.product,
        spray_l=spray_l,
        water_l=whole.water_l,
        full_fills=fills,
        full=fill(tank_l) if fills else None,
        part=fill(part_l) if part_l else None,
        nutrients=given,
    )


def _checked(product: Product, area_m2: float, tank_l: float, rate: float | None) -> tuple[float, Literal["ml", "g"]]:
    """The rate that is used, and what it is measured in."""
    sheet, rate_unit = sheet_rate(product)
    used = sheet if rate is None else rate
    _positive(area_m2=area_m2, tank_l=tank_l, rate=used)
    unit: Literal["ml", "g"] = "ml" if rate_unit == "ml/m2" else "g"
    if unit == "ml" and product.water_ml_m2 is not None and used > product.water_ml_m2:
        raise ValueError(f"{product.id}: {used} ml/m2 of product do not fit into {product.water_ml_m2} ml/m2 of spray")
    return used, unit


def _whole(product: Product, area_m2: float, used: float) -> tuple[float | None, float]:
    """Finished spray for the whole area (None for dry products), and the product in it."""
    if product.water_ml_m2 is None:
        return None, used * area_m2
    spray_l = area_m2 * product.water_ml_m2 / 1000
    return spray_l, spray_l * 1000 / product.water_ml_m2 * used


def _split(spray_l: float, tank_l: float) -> tuple[int, float]:
    """Whole tanks and the rest. A rest below a billionth of the whole is rounding of floats, not a fill."""
    tanks = spray_l / tank_l
    fills = math.floor(tanks * (1 + 1e-9))
    rest = spray_l - fills * tank_l
    return fills, rest if rest > 1e-9 * spray_l else 0.0


def job_for(product: Product, area_m2: float, tank_l: float, rate: float | None = None) -> Job:
    """The job of one application in the form that messages carry; `water_l` is the finished spray. Errors as `mix`."""
    used, unit = _checked(product, area_m2, tank_l, rate)
    spray_l, amount = _whole(product, area_m2, used)
    given = nutrients(product, used)
    return Job(
        area_m2=area_m2,
        product_ml=amount if unit == "ml" else None,
        product_g=amount if unit == "g" else None,
        water_l=spray_l,
        fills=None if spray_l is None else spray_l / tank_l,
        n_g_m2=given.n,
        p2o5_g_m2=given.p2o5,
        k2o_g_m2=given.k2o,
        fe_g_m2=given.fe,
    )


def area_covered_m2(spray_l: float, water_ml_m2: float) -> float:
    """Area that a volume of finished spray covers."""
    _positive(spray_l=spray_l, water_ml_m2=water_ml_m2)
    return spray_l * 1000 / water_ml_m2


def dilution_ratio(product_ml_m2: float, water_ml_m2: float) -> float:
    """Parts of water to one part of product ("1 in n + 1"), from rate and finished spray volume."""
    _positive(product_ml_m2=product_ml_m2, water_ml_m2=water_ml_m2)
    if product_ml_m2 > water_ml_m2:
        raise ValueError("more product than finished spray")
    return (water_ml_m2 - product_ml_m2) / product_ml_m2


def knapsack_ml_m2(caught_ml: float, plot_m2: float = 9.0) -> float:
    """Spray volume by the timing test: spray a plot (3 m x 3 m), catch for the same seconds, divide (Woods 2010)."""
    _positive(caught_ml=caught_ml, plot_m2=plot_m2)
    return caught_ml / plot_m2


def gal_ac_from_128th_acre(caught_fl_oz: float, plot_ft2: float = PLOT_128TH_ACRE_FT2) -> float:
    """Spray volume by the 1/128-acre test: on 340.3125 ft2 (18.5 ft square) fluid oz caught equal gallons per acre."""
    _positive(caught_fl_oz=caught_fl_oz, plot_ft2=plot_ft2)
    return caught_fl_oz * PLOT_128TH_ACRE_FT2 / plot_ft2


def course_ft(swath_ft: float) -> float:
    """Length of the 1/128-acre course for a swath width."""
    _positive(swath_ft=swath_ft)
    return PLOT_128TH_ACRE_FT2 / swath_ft


def boom_l_ha(flow_l_min: float, swath_m: float, speed_km_h: float) -> float:
    """Boom spray volume: 600 x l/min / (swath in m x km/h). Swath is the nozzle spacing where flow is one nozzle's."""
    _positive(flow_l_min=flow_l_min, swath_m=swath_m, speed_km_h=speed_km_h)
    return 600 * flow_l_min / (swath_m * speed_km_h)


def boom_l_min(volume_l_ha: float, swath_m: float, speed_km_h: float) -> float:
    """Flow that gives a boom spray volume: the inverse of `boom_l_ha`."""
    _positive(volume_l_ha=volume_l_ha, swath_m=swath_m, speed_km_h=speed_km_h)
    return volume_l_ha * swath_m * speed_km_h / 600


def per_tank(rate_per_area: float, spray_per_area: float, tank: float) -> float:
    """Product for one tank: rate / spray volume x tank, any one set of units (oz/ac, gal/ac, gal; ml/m2, ml/m2, ml)."""
    _positive(spray_per_area=spray_per_area, tank=tank)
    return rate_per_area / spray_per_area * tank


def check_rate(applied: float, target: float, tolerance: float = SPREADER_TOLERANCE) -> Check:
    """Calibration error (applied / target - 1) with advice: outside the tolerance set the machine to less or more."""
    _positive(target=target)
    error = applied / target - 1
    if abs(error) <= tolerance + 1e-12:
        return Check(applied, target, error, "keep")
    return Check(applied, target, error, "less" if error > 0 else "more")


def spreader_check(caught_g: float, plot_m2: float, target_g_m2: float) -> Check:
    """Spreader catch test: what fell on a plot, per m2, against the wanted rate."""
    _positive(plot_m2=plot_m2)
    return check_rate(caught_g / plot_m2, target_g_m2)


def half_passes(rate: float) -> tuple[float, float]:
    """Two passes at right angles, each at half the rate (Rutgers Snyder Farm drop-spreader sheet)."""
    return rate / 2, rate / 2


# Pairs that must not meet in one tank, and what happens (spray-mix course notes, second hand; iron with lime from
# memory).
_CLASHES: tuple[tuple[str, str, str], ...] = (
    ("calcium", "sulphate", "gypsum falls out"),
    ("calcium", "phosphate", "calcium phosphate falls out"),
    ("phosphate", "iron", "iron phosphate falls out"),
    ("magnesium", "ammonium-phosphate", "magnesium ammonium phosphate falls out"),
    ("ammonium", "lime", "ammonia is given off"),
    ("iron", "lime", "iron is tied up; keep them weeks apart"),
)


def tank_warnings(products: Sequence[Product]) -> tuple[str, ...]:
    """Why some of these products must not share a tank; empty if nothing declared speaks against it.

    Contents come from each sheet's `contains`, from its P2O5 (phosphate) and its iron. One product by itself is never
    warned of: it was formulated. Silence is not leave: a jar test comes before any mix.
    """
    found: list[str] = []
    for one, other in combinations(products, 2):
        for a, b, why in _CLASHES:
            for x, y in ((one, other), (other, one)):
                if a in _contents(x) and b in _contents(y):
                    text = f"{x.name} ({a}) and {y.name} ({b}) must not share a tank: {why}"
                    found += [text] if text not in found else []
    return tuple(found)


def _contents(product: Product) -> set[str]:
    held: set[str] = set(product.contains)
    if product.npk_pct[1] > 0:
        held.add("phosphate")
    if product.iron_pct > 0:
        held.add("iron")
    if {"ammonium", "phosphate"} <= held:
        held.add("ammonium-phosphate")
    return held
