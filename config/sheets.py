"""Generic product sheets, invented, at least one of each form: what to look for, never something to buy by name."""

import tomllib
from functools import cache
from importlib.resources import files

from config.check_products import check_product
from config.models import Product
from config.parts import Source, build
from config.problems import Problem

FILE = "sheets.toml"


@cache
def generic_sheets() -> tuple[Product, ...]:
    """The shipped sheets. ValueError if one of them would be refused in an estate."""
    table = tomllib.loads((files("config") / "reference" / FILE).read_text("utf-8"))
    problems: list[Problem] = []
    items = [
        build(Product, raw, Source(FILE, base=("products", n)), problems) for n, raw in enumerate(table["products"])
    ]
    problems += [problem for item in items for problem in check_product(item)]
    if problems:
        raise ValueError("; ".join(map(str, problems)))
    return tuple(item.part for item in items)
