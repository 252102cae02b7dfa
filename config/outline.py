"""The area and centre of a lawn from its outline: GeoJSON (RFC 7946) on the WGS84 ellipsoid.

Areas are geodesic (Karney, Algorithms for geodesics, J. Geodesy 87, 43-55, 2013) through the geographiclib library.
"""

import json
from pathlib import Path
from typing import Any, NoReturn

from geographiclib.geodesic import Geodesic

from config.files import read_text
from config.problems import Problem
from config.rings import UNITS_PER_DEGREE, Point, Ring, centroid, crossing, degrees, holds, self_crossing, snapped

MAX_POSITIONS = 2000
MAX_RINGS = 100
SMALLEST_M2 = 0.01
HALF_TURN = 180 * UNITS_PER_DEGREE

Polygon = list[Ring]  # the outer ring, then the holes


class OutlineInvalid(ValueError):
    """An outline that cannot be measured; `found` and `allowed` say why."""

    def __init__(self, found: str, allowed: str) -> None:
        super().__init__(f"found {found}; allowed: {allowed}")
        self.found = found
        self.allowed = allowed


def measure_outline(path: Path) -> tuple[float, float, float]:
    """Area (m2) and centroid (latitude, longitude in degrees) of the Polygon or MultiPolygon in a GeoJSON file.

    The file holds the geometry itself, a Feature, or a FeatureCollection of one Feature. Rings may run either way
    round; inner rings are holes. Raises OutlineInvalid for anything else.
    """
    polygons = [_polygon(rings) for rings in _polygons(_parse(path))]
    rings = [ring for polygon in polygons for ring in polygon]
    if len(rings) > MAX_RINGS or sum(len(ring) for ring in rings) > MAX_POSITIONS:
        allowed = f"at most {MAX_RINGS} rings with {MAX_POSITIONS} positions"
        raise OutlineInvalid("a very detailed outline", allowed)
    for polygon in polygons:
        _check_holes(polygon)
    _check_apart(polygons)
    area = sum(_area(polygon[0]) - sum(_area(hole) for hole in polygon[1:]) for polygon in polygons)
    centre = centroid(polygons)
    if not area >= SMALLEST_M2 or centre is None:
        raise OutlineInvalid("an outline without area", "an outline round some ground")
    return area, centre[1], centre[0]


def _parse(path: Path) -> dict[str, Any]:
    problems: list[Problem] = []
    text = read_text(path, problems)
    if text is None:
        raise OutlineInvalid(problems[0].found, problems[0].allowed)
    try:
        value = json.loads(text, parse_constant=_not_a_number)
    except OutlineInvalid:
        raise
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", None)
        raise OutlineInvalid(f"no valid JSON{f' (line {line})' if line else ''}", "a GeoJSON file") from error
    if not isinstance(value, dict):
        raise OutlineInvalid("JSON that is no GeoJSON object", "a GeoJSON file")
    return value


def _not_a_number(name: str) -> NoReturn:
    raise OutlineInvalid(f"the number {name}", "finite degrees")


def _polygons(value: dict[str, Any]) -> list[Any]:
    """The coordinate arrays of the polygons in a GeoJSON object."""
    _check_reference_system(value)
    kind = value.get("type")
    if kind == "FeatureCollection":
        features = value.get("features")
        if not isinstance(features, list) or len(features) != 1 or not isinstance(features[0], dict):
            raise OutlineInvalid("a collection that does not hold exactly one feature", "one feature per outline file")
        value, kind = features[0], features[0].get("type")
    if kind == "Feature" and isinstance(value.get("geometry"), dict):
        value = value["geometry"]
        kind = value.get("type")
    coordinates = value.get("coordinates")
    if kind == "Polygon":
        return [coordinates]
    if kind == "MultiPolygon" and isinstance(coordinates, list) and coordinates:
        return coordinates
    known = ("Point", "MultiPoint", "LineString", "MultiLineString", "GeometryCollection", "Feature", "MultiPolygon")
    found = f"an empty or broken {kind}" if kind == "MultiPolygon" else f"a {kind}" if kind in known else "no geometry"
    raise OutlineInvalid(found, "a Polygon or MultiPolygon")


def _check_reference_system(value: dict[str, Any]) -> None:
    """RFC 7946 section 4 knows WGS84 alone; older files may name another system in `crs`."""
    system = value.get("crs")
    if system is None:
        return
    name = str(system.get("properties")) if isinstance(system, dict) else ""
    if not any(known in name for known in ("CRS84", "EPSG::4326", "EPSG:4326")):
        raise OutlineInvalid("coordinates in another reference system", "longitude and latitude in degrees (WGS84)")


def _polygon(rings: Any) -> Polygon:
    if not isinstance(rings, list) or not rings:
        raise OutlineInvalid("a polygon without rings", "a closed outer ring")
    return [_ring(ring) for ring in rings]


def _ring(positions: Any) -> Ring:
    """The corners of one closed ring (the closing one left out), checked."""
    if not isinstance(positions, list) or len(positions) < 4:
        raise OutlineInvalid("a ring of fewer than four positions", "at least four, the last equal to the first")
    if len(positions) > MAX_POSITIONS + 1:
        raise OutlineInvalid(f"more than {MAX_POSITIONS} positions", "a simpler outline")
    points = [_point(position) for position in positions]
    if points[0] != points[-1]:
        raise OutlineInvalid("a ring that is not closed", "a last position equal to the first")
    corners = [point for point, before in zip(points[1:], points, strict=False) if point != before]
    if any(abs(a[0] - b[0]) > HALF_TURN for a, b in zip(corners, corners[1:] + corners[:1], strict=True)):
        raise OutlineInvalid("a ring across the 180 degree meridian", "an outline on one side of it")
    if len(set(corners)) < 3:
        raise OutlineInvalid("a ring of fewer than three different corners", "an outline round some ground")
    if self_crossing(corners):
        raise OutlineInvalid("a ring that crosses or touches itself", "a simple outline")
    return corners


def _point(position: Any) -> Point:
    if not isinstance(position, list) or len(position) < 2 or not all(_is_number(x) for x in position[:2]):
        raise OutlineInvalid("a position that is not two numbers", "[longitude, latitude] in degrees")
    longitude, latitude = position[:2]
    if abs(latitude) > 90 and abs(longitude) <= 90 and abs(latitude) <= 180:
        raise OutlineInvalid(f"latitude {latitude:.6g} (swapped?)", "[longitude, latitude], longitude first")
    if not (abs(longitude) <= 180 and abs(latitude) <= 90):
        raise OutlineInvalid("a position off the globe", "longitude from -180 to 180, latitude from -90 to 90")
    return snapped(longitude, latitude)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _check_holes(polygon: Polygon) -> None:
    outer, *holes = polygon
    for number, hole in enumerate(holes):
        if crossing(outer, hole) or not holds(outer, hole):
            raise OutlineInvalid("a hole that is not inside its outline", "holes inside the outer ring")
        if any(crossing(hole, other) or holds(hole, other) or holds(other, hole) for other in holes[:number]):
            raise OutlineInvalid("holes that overlap", "holes apart from each other")


def _check_apart(polygons: list[Polygon]) -> None:
    for number, (outer, *holes) in enumerate(polygons):
        for other, *other_holes in polygons[:number]:
            if abs(outer[0][0] - other[0][0]) > HALF_TURN:
                raise OutlineInvalid("pieces on both sides of the 180 degree meridian", "an outline on one side of it")
            # A piece may lie in the hole of another, as a bed within a path within a lawn.
            within = holds(other, outer) and not any(holds(hole, outer) for hole in other_holes)
            around = holds(outer, other) and not any(holds(hole, other) for hole in holes)
            if crossing(outer, other) or within or around:
                raise OutlineInvalid("pieces that overlap", "pieces apart from each other")


def _area(ring: Ring) -> float:
    shape = Geodesic.WGS84.Polygon()
    for longitude, latitude in map(degrees, ring):
        shape.AddPoint(latitude, longitude)
    return abs(float(shape.Compute(False, True)[2]))
