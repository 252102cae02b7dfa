"""Invented product sheets for the tests of the arithmetic."""

from typing import Any

from config.models import Product


def product(**fields: Any) -> Product:
    """A granular sheet of 10-0-0 at 10 g/m2, with some fields changed."""
    return Product(
        **({"id": "feed", "name": "Feed", "form": "granular", "analysis": "10-0-0", "rate_g_m2": 10} | fields)
    )


def liquid(**fields: Any) -> Product:
    """A liquid sheet of 12-0-0 w/w at 1.18 kg/l, 3.53 ml/m2 in 60 ml/m2 of spray, with some fields changed."""
    base = {
        "id": "leaf",
        "name": "Leaf",
        "form": "liquid",
        "analysis": "12-0-0",
        "density_kg_l": 1.18,
        "rate_ml_m2": 3.53,
        "water_ml_m2": 60,
    }
    return Product(**(base | fields))
