"""Areas and centres from GeoJSON outlines (RFC 7946) on the WGS84 ellipsoid."""

import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.load import load_estate
from config.outline import OutlineInvalid, measure_outline
from config.problems import EstateInvalid
from tests.builders import lawn, write_estate

Corners = list[list[float]]


def box(west: float, south: float, width: float, height: float | None = None) -> Corners:
    east, north = west + width, south + (width if height is None else height)
    return [[west, south], [east, south], [east, north], [west, north], [west, south]]


def polygon(*rings: Any) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": list(rings)}


def measured(folder: Path, value: Any) -> tuple[float, float, float]:
    path = folder / "outline.geojson"
    path.write_text(value if isinstance(value, str) else json.dumps(value), "utf-8")
    return measure_outline(path)


def area(folder: Path, value: Any) -> float:
    return measured(folder, value)[0]


LAWN = box(-0.5, 51.5, 0.0003)


def test_the_degree_cell_at_the_equator(tmp_path: Path) -> None:
    """Karney, Algorithms for geodesics, J. Geodesy 87 (2013); GeographicLib's own tests: 12308778361.469452 m2."""
    assert area(tmp_path, polygon(box(0, 0, 1))) == pytest.approx(12308778361.469452, rel=1e-12)


def test_a_small_square_follows_the_radii_of_curvature(tmp_path: Path) -> None:
    """WGS84 (NIMA TR8350.2): a = 6378137 m, 1/f = 298.257223563; area = M * N cos(latitude) * dlat * dlon."""
    a, f = 6378137.0, 1 / 298.257223563
    e2, mid, step = f * (2 - f), math.radians(51.50015), math.radians(0.0003)
    w = math.sqrt(1 - e2 * math.sin(mid) ** 2)
    expected = a * (1 - e2) / w**3 * a / w * math.cos(mid) * step**2
    assert expected == pytest.approx(695.32, abs=0.5)
    assert area(tmp_path, polygon(LAWN)) == pytest.approx(expected, rel=1e-6)


def test_the_centre_of_a_square_is_its_middle(tmp_path: Path) -> None:
    _, latitude, longitude = measured(tmp_path, polygon(LAWN))
    assert (latitude, longitude) == pytest.approx((51.50015, -0.49985), abs=1e-9)


def test_the_centre_of_a_triangle_is_the_mean_of_its_corners(tmp_path: Path) -> None:
    corners = [[10.0, 50.0], [10.0003, 50.0], [10.0, 50.0006], [10.0, 50.0]]
    _, latitude, longitude = measured(tmp_path, polygon(corners))
    assert (latitude, longitude) == pytest.approx((50.0002, 10.0001), abs=1e-9)


@pytest.mark.parametrize("turned", [False, True])
def test_rings_may_run_either_way_round(turned: bool, tmp_path: Path) -> None:
    hole = box(-0.4999, 51.5001, 0.0001)
    rings = [LAWN[::-1], hole[::-1]] if turned else [LAWN, hole]
    whole, cut = area(tmp_path, polygon(LAWN)), area(tmp_path, polygon(hole))
    assert area(tmp_path, polygon(*rings)) == pytest.approx(whole - cut, rel=1e-9)
    assert area(tmp_path, polygon(rings[0], hole)) == pytest.approx(whole - cut, rel=1e-9)


def test_a_hole_moves_the_centre_away_from_it(tmp_path: Path) -> None:
    """By moments: a square of side 3 less its lower left ninth has its centre at (9 * 1.5 - 0.5) / 8 = 1.625."""
    _, latitude, longitude = measured(tmp_path, polygon(box(0, 0, 0.003), box(0, 0, 0.001)))
    assert (latitude, longitude) == pytest.approx((0.001625, 0.001625), abs=1e-9)


def test_pieces_add_up(tmp_path: Path) -> None:
    pieces = {"type": "MultiPolygon", "coordinates": [[box(0, 0, 0.001)], [box(0.002, 0, 0.001)]]}
    found, latitude, longitude = measured(tmp_path, pieces)
    one = area(tmp_path, polygon(box(0, 0, 0.001)))
    assert found == pytest.approx(2 * one, rel=1e-6)
    assert (latitude, longitude) == pytest.approx((0.0005, 0.0015), abs=1e-9)


def test_pieces_may_touch_and_one_may_lie_in_the_hole_of_another(tmp_path: Path) -> None:
    touching = {"type": "MultiPolygon", "coordinates": [[box(0, 0, 0.001)], [box(0.001, 0, 0.001)]]}
    bed = box(0.001, 0.001, 0.001)
    nested = {"type": "MultiPolygon", "coordinates": [[box(0, 0, 0.003), bed], [bed]]}
    assert area(tmp_path, touching) == pytest.approx(area(tmp_path, polygon(box(0, 0, 0.002, 0.001))), rel=1e-6)
    assert area(tmp_path, nested) == pytest.approx(area(tmp_path, polygon(box(0, 0, 0.003))), rel=1e-6)


@pytest.mark.parametrize(
    "wrapped",
    [
        {"type": "Feature", "properties": {}, "geometry": polygon(LAWN)},
        {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": polygon(LAWN)}]},
        {"type": "MultiPolygon", "coordinates": [[LAWN]]},
        polygon([[*position, 32.5] for position in LAWN]),
        polygon([LAWN[0], LAWN[0], *LAWN[1:]]),
        {**polygon(LAWN), "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}},
    ],
)
def test_the_same_lawn_in_other_dress(wrapped: dict[str, Any], tmp_path: Path) -> None:
    assert area(tmp_path, wrapped) == pytest.approx(area(tmp_path, polygon(LAWN)), rel=1e-12)


def test_a_byte_order_mark_is_no_hindrance(tmp_path: Path) -> None:
    assert area(tmp_path, "\ufeff" + json.dumps(polygon(LAWN))) > 0


FIGURE_OF_EIGHT = [[0, 0], [0.001, 0.001], [0.001, 0], [0, 0.001], [0, 0]]
PINCHED = [[0, 0], [0.002, 0], [0.001, 0.001], [0.002, 0.002], [0, 0.002], [0.001, 0.001], [0, 0]]
SPIKE = [[0, 0], [0.002, 0], [0.003, 0], [0.002, 0], [0.002, 0.002], [0, 0.002], [0, 0]]
TOUCHING_A_SIDE = [[0, 0], [0.002, 0], [0.002, 0.002], [0.001, 0], [0, 0.002], [0, 0]]


@pytest.mark.parametrize(
    "value",
    [
        polygon(FIGURE_OF_EIGHT),
        polygon(PINCHED),
        polygon(SPIKE),
        polygon(TOUCHING_A_SIDE),
        polygon([[0, 0], [0.001, 0.001], [0.002, 0.002], [0, 0]]),
        polygon(LAWN[:-1]),
        polygon(LAWN[:3]),
        polygon([LAWN[0], LAWN[1], LAWN[0], LAWN[0]]),
        polygon([[0, 0]] * 5),
        polygon([]),
        polygon(),
        polygon(box(0, 0, 1e-9)),
        polygon([[0, 0], [1e-300, 0], [0, 1e-300], [0, 0]]),
        polygon(box(179.9, 10, 0.2)),
        polygon([[179.9, 0], [-179.9, 0], [-179.9, 0.1], [179.9, 0.1], [179.9, 0]]),
        {"type": "MultiPolygon", "coordinates": [[box(179.9, 0, 0.1)], [box(-180, 0, 0.1)]]},
        polygon(box(51.5, 151, 0.0003)),
        polygon(box(181, 0, 0.1)),
        polygon(box(530000, 180000, 30)),
        polygon([["0", "0"], ["1", "0"], ["1", "1"], ["0", "0"]]),
        polygon([[True, False], [1, 0], [1, 1], [True, False]]),
        polygon([[0], [1], [1], [0]]),
        polygon(LAWN, box(0, 0, 0.0001)),
        polygon(LAWN, box(-0.4999, 51.5001, 0.001)),
        polygon(LAWN, box(-0.4999, 51.5001, 0.0001), box(-0.49995, 51.50015, 0.0001)),
        polygon(box(0, 0, 0.003), box(0.0005, 0.0005, 0.002), box(0.001, 0.001, 0.001)),
        polygon("x"),
        polygon(None),
        {"type": "Polygon"},
        {"type": "Polygon", "coordinates": {"a": 1}},
        {"type": "MultiPolygon", "coordinates": []},
        {"type": "MultiPolygon", "coordinates": [[LAWN], [LAWN]]},
        {"type": "MultiPolygon", "coordinates": [[box(0, 0, 0.003)], [box(0.001, 0.001, 0.001)]]},
        {"type": "MultiPolygon", "coordinates": [[box(0.001, 0.001, 0.001)], [box(0, 0, 0.003)]]},
        {"type": "MultiPolygon", "coordinates": [[box(0, 0, 0.002)], [box(0.001, 0.001, 0.002)]]},
        {"type": "MultiPolygon", "coordinates": [5]},
        {"type": "Point", "coordinates": [0, 0]},
        {"type": "LineString", "coordinates": LAWN},
        {"type": "Feature", "geometry": None},
        {"type": "FeatureCollection", "features": []},
        {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": polygon(LAWN)}] * 2},
        {"type": "FeatureCollection", "features": [5]},
        {"type": ["Polygon"], "coordinates": [LAWN]},
        {**polygon(LAWN), "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::27700"}}},
        [],
        5,
        None,
        "",
        "{",
        '{"type": "Polygon", "coordinates": [[[NaN, 0], [1, 0], [1, 1], [NaN, 0]]]}',
        '{"type": "Polygon", "coordinates": [[[0, 0], [Infinity, 0], [1, 1], [0, 0]]]}',
        '{"type": "Polygon", "coordinates": [[[0, 0], [1e999, 0], [1, 1], [0, 0]]]}',
        '{"type": "Polygon", "coordinates": [[[0, 0], [' + "9" * 5000 + ", 0], [1, 1], [0, 0]]]}",
        "[" * 100_000,
    ],
)
def test_what_cannot_be_measured_is_refused(value: Any, tmp_path: Path) -> None:
    with pytest.raises(OutlineInvalid):
        measured(tmp_path, value)


def test_a_very_detailed_outline_is_refused_not_chewed(tmp_path: Path) -> None:
    def ring(corners: int) -> Corners:
        angles = [2 * math.pi * n / corners for n in range(corners)]
        points = [[0.01 * math.cos(x), 0.01 * math.sin(x)] for x in angles]
        return [*points, points[0]]

    assert area(tmp_path, polygon(ring(500))) > 0
    with pytest.raises(OutlineInvalid):
        area(tmp_path, polygon(ring(5000)))
    with pytest.raises(OutlineInvalid):
        area(tmp_path, polygon(box(0, 0, 1), *(box(n / 500, 0.1, 0.001) for n in range(400))))


@pytest.mark.parametrize("name", [".", "missing.geojson", "a\0b", "x" * 5000])
def test_a_file_that_cannot_be_read_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(OutlineInvalid):
        measure_outline(tmp_path / name)


# Few steps, so that corners often coincide or lie in one line.
STEPS = st.one_of(st.integers(0, 4).map(lambda n: n / 300), st.floats(0, 0.01))


@settings(deadline=None, max_examples=300)
@given(st.lists(st.tuples(STEPS, STEPS), min_size=3, max_size=8), st.integers(0, 7))
def test_where_a_ring_starts_and_which_way_it_runs_do_not_matter(
    tmp_path_factory: pytest.TempPathFactory, corners: list[tuple[float, float]], start: int
) -> None:
    folder = tmp_path_factory.mktemp("rings")

    def outcome(ring: list[tuple[float, float]]) -> tuple[float, float, float] | None:
        try:
            return measured(folder, polygon([list(point) for point in [*ring, ring[0]]]))
        except OutlineInvalid:
            return None

    turned = corners[start % len(corners) :] + corners[: start % len(corners)]
    first, others = outcome(corners), [outcome(turned), outcome(corners[::-1])]
    for other in others:
        if first is None or other is None:
            assert first == other
        else:
            assert other == pytest.approx(first, rel=1e-6, abs=1e-6)


def with_outline(folder: Path, ring: Corners, **overrides: Any) -> Any:
    folder.mkdir(exist_ok=True)
    (folder / "back.geojson").write_text(json.dumps(polygon(ring)))
    return load_estate(write_estate(folder, lawns=[lawn(outline="back.geojson", **overrides)]), {})


def test_a_lawn_takes_area_and_place_from_its_outline(tmp_path: Path) -> None:
    (found,) = with_outline(tmp_path, LAWN, area_m2=None, latitude=None, longitude=None).lawns
    assert found.area_m2 == pytest.approx(695.32, abs=0.5)
    assert (found.latitude, found.longitude) == pytest.approx((51.50015, -0.49985))


def test_what_is_typed_wins_over_what_is_drawn(tmp_path: Path) -> None:
    (found,) = with_outline(tmp_path, LAWN, area_m2=600, latitude=51.51, longitude=-0.51).lawns
    assert (found.area_m2, found.latitude, found.longitude) == (600, 51.51, -0.51)


@pytest.mark.parametrize(
    ("overrides", "field"),
    [
        ({"area_m2": 500}, "area_m2"),
        ({"area_m2": 900}, "area_m2"),
        ({"latitude": 52.5, "area_m2": 700}, "latitude"),
        ({"longitude": 0.5, "area_m2": 700}, "longitude"),
    ],
)
def test_what_is_typed_must_be_the_place_and_size_that_is_drawn(
    overrides: dict[str, Any], field: str, tmp_path: Path
) -> None:
    with pytest.raises(EstateInvalid) as caught:
        with_outline(tmp_path, LAWN, **{"latitude": 51.5, "longitude": -0.5, **overrides})
    assert [(x.file, x.row, x.field) for x in caught.value.problems] == [("lawns.csv", 2, field)]


def test_a_broken_outline_is_the_only_problem_of_its_lawn(tmp_path: Path) -> None:
    with pytest.raises(EstateInvalid) as caught:
        with_outline(tmp_path, LAWN[:3], area_m2=None, latitude=None, longitude=None)
    assert [(x.file, x.row, x.field) for x in caught.value.problems] == [("lawns.csv", 2, "outline")]


def test_a_park_is_too_large_for_a_lawn(tmp_path: Path) -> None:
    with pytest.raises(EstateInvalid) as caught:
        with_outline(tmp_path, box(-0.5, 51.5, 0.1), area_m2=None, latitude=None, longitude=None)
    assert [x.field for x in caught.value.problems] == ["area_m2"]
