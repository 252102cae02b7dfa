"""What to be careful of: the usual cautions for a product on a lawn. The label and local law stand above them."""

from functools import lru_cache
from typing import NamedTuple

from config.defaults import defaults
from config.models import Lawn, Product
from config.resolve import product_limits
from scheduler.agronomy.nutrients import nutrients

LABEL_FIRST = "The product label and local law come first."
STEEP_DEG = 12.0  # extra care above 12 degrees: Defra PB12736i


def cautions(lawn: Lawn, product: Product) -> tuple[str, ...]:
    """Cautions for `product` on `lawn`, most pressing first; the label's own are always among them."""
    place = Place(lawn.children_or_pets, lawn.hard_edges, lawn.water_within_m, lawn.slope_deg)
    return _cautions(place, product)


class Place(NamedTuple):
    """What of a lawn asks for care; most lawns of an estate are alike in it."""

    children_or_pets: bool
    hard_edges: bool
    water_within_m: float | None
    slope_deg: float | None


@lru_cache(maxsize=4096)
def _cautions(lawn: Place, product: Product) -> tuple[str, ...]:
    found = [*_people_and_animals(lawn, product), *_surfaces(lawn, product), *_water_and_slope(lawn)]
    if product.form == "combined":
        found.append(
            "Contains a weed or moss killer: read the label before opening, wear gloves, mind who may apply it by law."
        )
    soluble = nutrients(product).soluble_n
    if soluble > defaults("ground")["single_soluble_n_g_m2"].number:
        found.append(f"Strong dose: {soluble:.1f} g/m2 of quick nitrogen at once; never on dry or dormant grass.")
    if product.label.registration:
        found.append(f"Registration {product.label.registration}.")
    return (*found, *product.label.cautions, LABEL_FIRST)


def _people_and_animals(lawn: Place, product: Product) -> list[str]:
    """How long to keep off."""
    who = "children and pets" if lawn.children_or_pets else "people and animals"
    keep = product.label.keep_off or ("until-dry" if product.form == "liquid" else "until-dissolved")
    if keep == "until-dry":
        return [f"Keep {who} off until it is dry."]
    if keep == "until-dissolved":
        return [f"Keep {who} off until the granules have dissolved and the grass is dry (24-48 h)."]
    return [f"Keep {who} off for {keep:g} h, and until it is dry."]


def _surfaces(lawn: Place, product: Product) -> list[str]:
    """Staining beside hard surfaces, and sweeping back."""
    iron = nutrients(product).fe > 0
    if product.label.stains_hard_surfaces or iron:
        edge = "paving here" if lawn.hard_edges else "paving, clothes and carpet"
        return [f"Iron stains {edge}: sweep spills off dry, do not hose, before it gets wet." if iron
                else f"Stains {edge}: sweep spills off dry, before it gets wet."]  # fmt: skip
    if lawn.hard_edges and product.form != "liquid":
        return ["Sweep granules off the paving back onto the lawn."]
    if lawn.hard_edges:
        return ["Keep the spray off the paving."]
    return []


def _water_and_slope(lawn: Place) -> list[str]:
    found = []
    if lawn.water_within_m is not None and lawn.water_within_m <= 20:
        found.append(
            f"Water lies {lawn.water_within_m:g} m away: keep the strip beside it untreated, watch drift and run-off."
        )
    if lawn.slope_deg is not None and lawn.slope_deg > STEEP_DEG:
        found.append(f"Slope of {lawn.slope_deg:g} degrees: mind run-off, split the dose if in doubt.")
    return found


def dry_hours(product: Product) -> float | None:
    """Hours without rain or sprinklers after the application; None where the form needs none."""
    dry = product_limits(product).dry_for_h
    return dry.number if dry and product.form != "granular" else None
