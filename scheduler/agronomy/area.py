"""Lawn areas from a tape measure. Outlines (GeoJSON) are measured in config, on the ellipsoid."""

import math
from collections.abc import Sequence


def _length(name: str, value: float) -> float:
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"{name} must be a length above 0, got {value}")
    return value


def rectangle(length: float, width: float) -> float:
    """Area of a rectangle, in the square of the unit of its sides."""
    return _length("length", length) * _length("width", width)


def circle(radius: float) -> float:
    """Area of a circle, in the square of the unit of its radius."""
    return math.pi * _length("radius", radius) ** 2


def triangle(base: float, height: float) -> float:
    """Area of a triangle, in the square of the unit of its sides."""
    return _length("base", base) * _length("height", height) / 2


def offsets(widths: Sequence[float], spacing: float) -> float:
    """Area of an irregular lawn by the offset method: sum of the widths x their spacing (Clemson HGIC 1220).

    Lay a line along the longest side and measure the width across it every `spacing`. Extension sheets put the error
    at about 5 %. ValueError without a width, for a negative one, or if all are 0.
    """
    if not widths or any(not (math.isfinite(width) and width >= 0) for width in widths):
        raise ValueError("the offset method needs at least one width, none negative")
    if not any(widths):
        raise ValueError("all widths are 0")
    return sum(widths) * _length("spacing", spacing)
