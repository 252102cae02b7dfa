"""Label analysis to nutrients on the ground, and back.

The three label numbers are % of N, P2O5 and K2O (Purdue Extension AY-22). On the basis w/w they are g per 100 g of
product, on w/v g per 100 ml; a liquid dosed by volume on a w/w label needs its density.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from config.models import Product

# Element in its oxide or salt, from IUPAC standard atomic weights.
P_PER_P2O5 = 0.4364
K_PER_K2O = 0.8301
MG_PER_MGO = 0.6030
CA_PER_CAO = 0.7147
S_PER_SO3 = 0.4005
FE_PER_FESO4_7H2O = 0.2009
FE_PER_FESO4_H2O = 0.3287
FE_PER_FESO4 = 0.3676

SlowClass = Literal["quick", "moderate", "slow"]
RateUnit = Literal["ml/m2", "g/m2"]


@dataclass(frozen=True)
class Nutrients:
    """Nutrients in g/m2: oxides as on the label, elements, and the slow and water-soluble parts of the N."""

    n: float = 0.0
    p2o5: float = 0.0
    k2o: float = 0.0
    p: float = 0.0
    k: float = 0.0
    fe: float = 0.0
    slow_n: float = 0.0
    soluble_n: float = 0.0

    def __add__(self, other: "Nutrients") -> "Nutrients":
        return Nutrients(
            n=self.n + other.n,
            p2o5=self.p2o5 + other.p2o5,
            k2o=self.k2o + other.k2o,
            p=self.p + other.p,
            k=self.k + other.k,
            fe=self.fe + other.fe,
            slow_n=self.slow_n + other.slow_n,
            soluble_n=self.soluble_n + other.soluble_n,
        )


def sheet_rate(product: Product) -> tuple[float, RateUnit]:
    """The rate of the sheet and its unit. ValueError if the sheet gives none."""
    if product.rate_ml_m2 is not None:
        return product.rate_ml_m2, "ml/m2"
    if product.rate_g_m2 is not None:
        return product.rate_g_m2, "g/m2"
    raise ValueError(f"{product.id}: the sheet gives neither rate_ml_m2 nor rate_g_m2")


def grams_per_unit(product: Product, percent: float) -> float:
    """g of a nutrient in one unit (ml or g) of the product, from its label %.

    w/w by mass: %/100. w/v by volume: %/100. w/w by volume: % x 10 x density is g/l. w/v by mass: divided by density.
    ValueError if volume and mass meet and the sheet gives no density.
    """
    _, unit = sheet_rate(product)
    share = percent / 100
    if (product.basis == "w/w") == (unit == "g/m2") or percent == 0:
        return share
    if product.density_kg_l is None:
        raise ValueError(f"{product.id}: a {product.basis} label dosed in {unit} needs density_kg_l")
    return share * product.density_kg_l if unit == "ml/m2" else share / product.density_kg_l


@lru_cache(maxsize=4096)
def nutrients(product: Product, rate: float | None = None) -> Nutrients:
    """Nutrients in g/m2 of one application at `rate` (ml/m2 or g/m2 as the sheet; None: the sheet's own rate).

    Linear in the rate. ValueError for a negative rate, a sheet without a rate, or a missing density.
    """
    used = sheet_rate(product)[0] if rate is None else rate
    if not used >= 0:
        raise ValueError(f"{product.id}: a rate must be a number >= 0, got {used}")
    n, p2o5, k2o = (used * grams_per_unit(product, percent) for percent in product.npk_pct)
    slow = min(n, n * product.slow_n_pct / 100)  # rounding must not make more slow N than N
    return Nutrients(
        n=n,
        p2o5=p2o5,
        k2o=k2o,
        p=p2o5 * P_PER_P2O5,
        k=k2o * K_PER_K2O,
        fe=used * grams_per_unit(product, product.iron_pct),
        slow_n=slow,
        soluble_n=n - slow,
    )


def rate_for(product: Product, n_g_m2: float) -> float:
    """Rate (ml/m2 or g/m2 as the sheet) that gives `n_g_m2` of N: target / (label N / 100).

    ValueError if the product holds no N or the target is negative.
    """
    if not n_g_m2 >= 0:
        raise ValueError(f"target N must be a number >= 0, got {n_g_m2}")
    per_unit = grams_per_unit(product, product.npk_pct[0])
    if per_unit == 0:
        raise ValueError(f"{product.id} holds no nitrogen")
    return n_g_m2 / per_unit


def rate_of_amount(product: Product, amount: float | None, area_m2: float) -> float:
    """Rate of a recorded amount (ml or g) on an area; None means the sheet's rate on the whole area."""
    return sheet_rate(product)[0] if amount is None else amount / area_m2


def slow_share(total_n: float, slow_n: float) -> float:
    """Slow-release share of N: slow (or water-insoluble) N over total N, 0..1; 0 if there is no N.

    Slow over total, not the inverse which one county sheet prints above cut-offs that are meant for this form.
    """
    if total_n < 0 or slow_n < 0 or slow_n > total_n:
        raise ValueError(f"slow N {slow_n} must lie within 0..total N {total_n}")
    return slow_n / total_n if total_n else 0.0


def slow_class(share: float) -> SlowClass:
    """Class by slow share of N: > 0.29 slow, 0.15-0.29 moderate, <= 0.15 quick (Cornell Coop. Extension Suffolk)."""
    if share > 0.29:
        return "slow"
    return "moderate" if share > 0.15 else "quick"


def spray_strength_pct(product: Product, rate: float | None = None) -> float | None:
    """Product in the finished spray, % w/v (g per 100 ml): the figure shown as salt strength of a leaf feed.

    None where it cannot be told: no spray volume on the sheet, or a volume dose without density. It is shown, never a
    limit: burn also depends on salt, heat and water.
    """
    if product.water_ml_m2 is None:
        return None
    used, unit = sheet_rate(product)
    used = used if rate is None else rate
    if unit == "ml/m2":
        if product.density_kg_l is None:
            return None
        used *= product.density_kg_l
    return 100 * used / product.water_ml_m2
