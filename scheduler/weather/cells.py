"""Forecast cells: lawns that lie close together share one request and one forecast."""

import math
from functools import lru_cache

STEP_DEG = 0.02  # about 2 km, finer than any feed's grid (2.5 to 25 km)
_STEP = 2  # the same in hundredths of a degree, so that all arithmetic below is whole-numbered


@lru_cache(maxsize=65536)
def cell_of(latitude: float, longitude: float) -> str:
    """Key "51.48,-0.62" of the cell that holds a place [degrees]: its centre, rounded to 0.02 degrees.

    Longitudes are wrapped into [-180, 180). Raises ValueError for a latitude outside -90..90 or anything not finite.
    """
    if not (math.isfinite(latitude) and math.isfinite(longitude)) or abs(latitude) > 90.0:
        raise ValueError(f"not a place on Earth: {latitude}, {longitude}")
    north = _STEP * round(latitude * 100 / _STEP)
    east = _STEP * round((longitude % 360.0) * 100 / _STEP)
    return f"{_text(north)},{_text(_wrapped(east))}"


def centre(cell: str) -> tuple[float, float]:
    """(latitude, longitude) of a cell's centre [degrees]. Raises ValueError if `cell` is not a key."""
    try:
        latitude, longitude = (float(part) for part in cell.split(","))
    except ValueError:
        raise ValueError(f"not a cell key: {cell!r}") from None
    if cell_of(latitude, longitude) != cell:
        raise ValueError(f"not a cell key: {cell!r}")
    return latitude, longitude


def _wrapped(hundredths: int) -> int:
    return (hundredths + 18000) % 36000 - 18000


def _text(hundredths: int) -> str:
    return f"{hundredths / 100:.2f}"  # a whole number cannot be -0
