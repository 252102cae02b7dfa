"""Invented lawns, products and estates for the drafting of programmes."""

from datetime import date
from typing import Any

from config.models import Estate, Lawn, Product, Programme, Rules
from scheduler.season.suggest_values import Suggestion

TODAY = date(2026, 11, 25)
# Invented months of an invented mild place in the north, and of one with hot summers.
MILD = (4.5, 4.8, 6.9, 9.4, 12.4, 15.3, 17.4, 17.1, 14.6, 11.2, 7.6, 5.2)
HOT = (2.0, 3.5, 8.5, 14.0, 19.0, 24.0, 26.5, 25.5, 21.5, 15.0, 9.5, 4.0)


def lawn(**changes: Any) -> Lawn:
    """A family lawn of 100 m2 in the north that can be watered."""
    table = {"id": "plot", "name": "Plot", "latitude": 51.5, "longitude": 0.0, "area_m2": 100.0, "soil": "loam",
             "irrigation": "hose"}  # fmt: skip
    return Lawn.model_validate({**table, **changes})


def product(**changes: Any) -> Product:
    """A quick granule: 3 g N/m2."""
    table = {"id": "quick", "name": "Quick", "form": "granular", "analysis": "15-0-8", "rate_g_m2": 20.0,
             "every_days": (28, 42)}  # fmt: skip
    return Product.model_validate({**table, **changes})


def leaf(**changes: Any) -> Product:
    """A leaf feed: 12 % w/w at 1.2 kg/l and 3.5 ml/m2 is 0.504 g N/m2."""
    table = {"id": "leaf", "name": "Leaf", "form": "liquid", "analysis": "12-0-6", "density_kg_l": 1.2,
             "rate_ml_m2": 3.5, "water_ml_m2": 60.0, "every_days": (7, 14)}  # fmt: skip
    return Product.model_validate({**table, **changes})


def combined(**changes: Any) -> Product:
    """Feed, weed and moss: 4.2 g N/m2."""
    table = {"id": "three", "name": "Three", "form": "combined", "analysis": "14-0-4", "iron_pct": 5.0,
             "rate_g_m2": 30.0, "every_days": (56, 90), "most_per_year": 2,
             "label": {"sowing_gap_days": 180, "stains_hard_surfaces": True}}  # fmt: skip
    return Product.model_validate({**table, **changes})


def estate(plot: Lawn, *products: Product, packs: tuple[str, ...] = (), **changes: Any) -> Estate:
    """An estate of one lawn. `rules` adds rules of its own."""
    rules = Rules(packs=packs, **changes.pop("rules", {}))
    return Estate(name="Sedge Rise", lawns=(plot,), products=products, rules=rules, **changes)


def taken_up(whole: Estate, told: Suggestion) -> Estate:
    """The estate once its owner has pasted the draft in: generic sheets as products, the programme set on the lawn."""
    generic = {stage.product.id: stage.product for stage in told.stages if not stage.own}
    steps = [{"product": s.product.id, "from": s.first, "to": s.last, "every_days": s.every_days} for s in told.stages]
    if not steps:
        return whole
    side = "south" if told.southern else "north"
    programme = Programme.model_validate({"id": "drafted", "hemisphere": side, "steps": tuple(steps)})
    kept = told.keep_from_water_m
    change: dict[str, Any] = {"programme": "drafted"} | ({"water_within_m": kept} if kept is not None else {})
    lawns = tuple(one.model_copy(update=change) if one.id == told.lawn.id else one for one in whole.lawns)
    return whole.model_copy(
        update={"products": (*whole.products, *generic.values()), "programmes": (programme,), "lawns": lawns}
    )
