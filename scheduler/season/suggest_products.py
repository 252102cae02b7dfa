"""Which product for which part of the year: the owner's own first, the generic sheets for what he has none of."""

from collections.abc import Sequence
from typing import Literal

from config.advice import advice
from config.models import Lawn, Product
from config.sheets import generic_sheets
from scheduler.agronomy.nutrients import nutrients, slow_class, slow_share
from scheduler.season.suggest_values import Role

Kind = Literal["combined", "liquid", "iron", "slow", "quick", "autumn", "starter", "other"]

# Kinds that can play a role, best first. The first of each is the form that a generic sheet stands in for.
KINDS: dict[Role, tuple[Kind, ...]] = {
    "opening": ("quick", "autumn"),
    "closing": ("autumn", "quick"),
    "spoon": ("liquid",),
    "weeds": ("combined",),
    "moss": ("iron",),
}
GENERIC: dict[Role, str] = {
    "opening": "generic-spring",
    "closing": "generic-autumn",
    "spoon": "generic-leaf",
    "weeds": "generic-combined",
    "moss": "generic-iron",
}


def kind_of(product: Product) -> Kind:
    """What a product is for, from its form, its analysis and its dose."""
    dose = nutrients(product)
    if product.form == "combined":
        return "combined"
    if dose.fe >= advice("moss")["least_fe_g_m2"].number and dose.fe > dose.n:
        return "iron"
    if dose.n <= 0:
        return "other"
    if product.form == "liquid":
        return "liquid"
    if dose.p2o5 >= dose.n:
        return "starter"
    if slow_class(slow_share(dose.n, dose.slow_n)) == "slow":
        return "slow"
    return "autumn" if dose.k2o >= dose.n else "quick"


def wants_phosphate(lawn: Lawn, year: int) -> bool:
    """Whether a soil test, recent enough, asks for phosphate."""
    if lawn.soil_test_on is None or lawn.soil_test_p is None:
        return False
    recent = year - lawn.soil_test_on.year <= advice("soil_test")["years"].number
    return recent and lawn.soil_test_p == "low"


def holds_soluble_badly(lawn: Lawn) -> bool:
    """Whether the soil is so light that soluble nitrogen washes through it."""
    return lawn.soil in ("sand", "loamy-sand")


def candidates(
    role: Role, products: Sequence[Product], *, slow_first: bool = False, phosphate: bool = False
) -> list[tuple[Product, bool]]:
    """Products for a role, best first, with whether they are the owner's own.

    `slow_first` says whether the middle of the year is fed by slow release rather than quick granules. Among equals
    those that hold phosphate come first where it is wanted, and last where it is not.
    """
    kinds = _kinds(role, slow_first)
    ranked = [(kinds.index(kind), product) for product in products if (kind := kind_of(product)) in kinds]
    ranked.sort(key=lambda item: (item[0], (item[1].npk_pct[1] > 0) != phosphate, item[1].id))
    own = [product for _, product in ranked]
    sheets = {sheet.id: sheet for sheet in generic_sheets()}
    taken = {product.id for product in products}
    generic = [sheets[name] for name in _generic(role, slow_first, phosphate) if name not in taken]
    return [(product, True) for product in own] + [(product, False) for product in generic]


def _kinds(role: Role, slow_first: bool) -> tuple[Kind, ...]:
    if role == "middle":
        return ("slow", "quick", "autumn") if slow_first else ("quick", "slow", "autumn")
    return KINDS[role]


def _generic(role: Role, slow_first: bool, phosphate: bool) -> list[str]:
    if role == "middle":
        return ["generic-slow", "generic-spring"] if slow_first else ["generic-spring"]
    if role == "opening" and phosphate:
        return ["generic-balanced", GENERIC[role]]
    return [GENERIC[role]]
