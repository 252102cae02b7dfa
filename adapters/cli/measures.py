"""Quantities as people type them, a number with its unit, as SI values; Ended says what is allowed."""

import math
import re
from typing import Any

import click

from adapters.cli.context import Ended
from config.models import Product
from scheduler.agronomy import units as u

ML = {"ml": 1.0, "l": 1000.0, "fl oz": u.ml_from_fl_oz(1), "gal": u.l_from_gal(1) * 1000}
GRAMS = {"g": 1.0, "kg": 1000.0, "oz": u.g_from_oz(1), "lb": u.g_from_lb(1)}
M2 = {"m2": 1.0, "ha": 10_000.0, "ft2": u.M2_PER_FT2, "ac": u.M2_PER_ACRE}
M_S = {
    "m/s": 1.0,
    "km/h": 1 / 3.6,
    "mph": u.M_S_PER_MPH,
    "kn": 1852 / 3600,
}  # a knot is 1852 m an hour
FASTEST_M_S = 75.0  # nobody feeds a lawn in more wind than was measured in hurricanes; a slip of the finger
COLDEST_C, HOTTEST_C = -60.0, 60.0
COMPASS = (
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
)  # fmt: skip

_QUANTITY = re.compile(r"\s*([+-]?[0-9]{1,9}(?:[.,][0-9]{1,9})?)\s*(.*?)\s*")


class Finite(click.FloatRange):
    """A number within bounds; unlike the library's own it takes no "nan" and no "inf"."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it."""
        number: float = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value!r} is not a number", param, ctx)
        return number


def quantity(text: str, allowed: dict[str, float], option: str, *, above: float = 0.0, least: bool = False) -> float:
    """A number with one of the `allowed` units, times that unit's factor: above (or, `least`, from) a lower bound."""
    match = _QUANTITY.fullmatch(text.lower().replace("²", "2"))
    if match and re.fullmatch(r"[1-9][0-9]{0,2}[.,][0-9]{3}", match[1]):
        plain = match[1].replace(",", "").replace(".", "")
        raise Ended(f"{option}: found {text!r}, which may be {plain} or a decimal; allowed: no thousands separator")
    number = float(match[1].replace(",", ".")) if match else 0.0
    factor = allowed.get(re.sub(r"^fl ?oz$", "fl oz", match[2])) if match else None
    if factor is None or not (number >= above if least else number > above):
        bound = f"{'from' if least else 'above'} {above:g}"
        raise Ended(f"{option}: found {text!r}, allowed: a number {bound} with {', '.join(allowed)}")
    return number * factor


def parse_amount(text: str, product: Product, option: str = "--amount") -> float:
    """An amount such as "420 ml", "3.6 kg" or "2 lb" in ml or g, as the product's form wants."""
    return quantity(text, ML if product.rate_ml_m2 is not None else GRAMS, option)


def parse_litres(text: str, option: str) -> float:
    """A volume such as "7.2 l" or "2 gal" in litres."""
    return quantity(text, ML, option) / 1000


def parse_wind(text: str, option: str = "--wind") -> float:
    """A wind speed such as "12 km/h" in m/s."""
    speed = quantity(text, M_S, option, least=True)
    if speed > FASTEST_M_S:
        raise Ended(f"{option}: found {text!r}, allowed: up to {FASTEST_M_S:g} m/s")
    return speed


def parse_temperature(text: str, option: str = "--temperature") -> float:
    """A temperature such as "14 C" or "57 F" in degrees Celsius."""
    plain = text.replace("°", " ").replace("\u2212", "-")
    match = re.fullmatch(r"\s*([+-]?[0-9]{1,9}(?:[.,][0-9]{1,9})?)\s*([cf])\s*", plain.lower())
    celsius = None
    if match:
        number = float(match[1].replace(",", "."))
        celsius = number if match[2] == "c" else u.c_from_f(number)
    if celsius is None or not COLDEST_C <= celsius <= HOTTEST_C:
        raise Ended(f"{option}: found {text!r}, allowed: a number with C or F, {COLDEST_C:g} to {HOTTEST_C:g} C")
    return celsius


def parse_wind_from(text: str, option: str = "--wind-from") -> str:
    """Where the wind came from: a compass point in capitals, or whole degrees from north by east."""
    said = text.strip().upper().removesuffix("°")
    if said in COMPASS or (re.fullmatch(r"[0-9]{1,3}", said) and int(said) <= 360):
        return said
    raise Ended(f"{option}: found {text!r}, allowed: N, NNE, NE, ... or degrees 0 to 360")
