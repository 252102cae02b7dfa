"""Plane geometry of closed rings in longitude and latitude, good for shapes the size of a lawn.

Crossing, containment and centroid do not change when one axis is stretched, so degrees serve as they are. Corners
are whole numbers of half a billionth of a degree (0.06 mm), which makes every test exact.
"""

from collections.abc import Iterator

UNITS_PER_DEGREE = 2_000_000_000

Point = tuple[int, int]  # longitude, latitude in units
Ring = list[Point]  # corners without the closing one
Edge = tuple[Point, Point]


def snapped(longitude: float, latitude: float) -> Point:
    """The corner nearest to a position in degrees, at an even number of units so that middles of edges are whole."""
    return 2 * round(longitude * UNITS_PER_DEGREE / 2), 2 * round(latitude * UNITS_PER_DEGREE / 2)


def degrees(point: Point) -> tuple[float, float]:
    """Longitude and latitude of a corner."""
    return point[0] / UNITS_PER_DEGREE, point[1] / UNITS_PER_DEGREE


def edges(ring: Ring) -> list[Edge]:
    """The edges of a ring in order, the closing one last."""
    return list(zip(ring, ring[1:] + ring[:1], strict=True))


def self_crossing(ring: Ring) -> bool:
    """True if two edges of a ring meet anywhere but at the corner they share."""
    if len(set(ring)) < len(ring):
        return True
    sides = edges(ring)
    count = len(sides)
    for i, j in _close_pairs(sides, sides):
        if j <= i:
            continue
        neighbours = j == i + 1 or (i == 0 and j == count - 1)
        if neighbours:
            first, second = (sides[i], sides[j]) if j == i + 1 else (sides[j], sides[i])
            if _folds_back(first, second):
                return True
        elif _meet(sides[i], sides[j]):
            return True
    return False


def crossing(one: Ring, other: Ring) -> bool:
    """True if the boundaries of two rings cut through each other (touching is no crossing)."""
    ours, theirs = edges(one), edges(other)
    return any(_cut(ours[i], theirs[j]) for i, j in _close_pairs(ours, theirs))


def holds(outer: Ring, inner: Ring) -> bool:
    """True if `inner`, whose boundary does not cross that of `outer`, lies inside `outer`."""
    # A corner on the boundary says nothing; edge middles help where every corner touches.
    middles = [((a[0] + b[0]) // 2, (a[1] + b[1]) // 2) for a, b in edges(inner)]
    for point in [*inner, *middles]:
        if not any(_on(point, edge) for edge in edges(outer)):
            return _inside(point, outer)
    return True


def centroid(polygons: list[list[Ring]]) -> tuple[float, float] | None:
    """Centre of gravity (longitude, latitude in degrees) of polygons by the shoelace formula; None for a flat shape."""
    total = east = north = 0
    for rings in polygons:
        for number, ring in enumerate(rings):
            twice_area, x, y = _moments(ring)
            sign = 1 if (twice_area > 0) == (number == 0) else -1
            total, east, north = total + sign * twice_area, east + sign * x, north + sign * y
    scale = 3 * total * UNITS_PER_DEGREE
    return (east / scale, north / scale) if total > 0 else None


def _moments(ring: Ring) -> tuple[int, int, int]:
    """Twice the area and six times the first moments of a ring, negative for one that runs clockwise."""
    area = x = y = 0
    for (x1, y1), (x2, y2) in edges(ring):
        cross = x1 * y2 - x2 * y1
        area += cross
        x += (x1 + x2) * cross
        y += (y1 + y2) * cross
    return area, x, y


def _close_pairs(ours: list[Edge], theirs: list[Edge]) -> Iterator[tuple[int, int]]:
    """Index pairs of edges whose boxes overlap, by a sweep over sorted western ends."""
    boxes = sorted((*_box(edge), j) for j, edge in enumerate(theirs))
    for i, edge in enumerate(ours):
        west, south, east, north = _box(edge)
        for other_west, other_south, other_east, other_north, j in boxes:
            if other_west > east:
                break
            if other_east >= west and other_north >= south and other_south <= north:
                yield i, j


def _box(edge: Edge) -> tuple[int, int, int, int]:
    (x1, y1), (x2, y2) = edge
    return min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)


def _turn(a: Point, b: Point, c: Point) -> int:
    """Above 0 if c lies to the left of the way from a to b, below 0 to the right."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _on(point: Point, edge: Edge) -> bool:
    a, b = edge
    in_box = min(a[0], b[0]) <= point[0] <= max(a[0], b[0]) and min(a[1], b[1]) <= point[1] <= max(a[1], b[1])
    return in_box and _turn(a, b, point) == 0


def _cut(one: Edge, other: Edge) -> bool:
    (a, b), (c, d) = one, other
    return _turn(a, b, c) * _turn(a, b, d) < 0 and _turn(c, d, a) * _turn(c, d, b) < 0


def _meet(one: Edge, other: Edge) -> bool:
    touch = any(_on(point, other) for point in one) or any(_on(point, one) for point in other)
    return touch or _cut(one, other)


def _folds_back(first: Edge, second: Edge) -> bool:
    """True if the second edge runs back over the first."""
    (a, b), (_, c) = first, second
    ahead = (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1])
    return _turn(a, b, c) == 0 and ahead < 0


def _inside(point: Point, ring: Ring) -> bool:
    # Counts the edges that a line eastward from the point passes through.
    y = point[1]
    passed = [(a, b) for a, b in edges(ring) if (a[1] > y) != (b[1] > y)]
    return sum((_turn(a, b, point) > 0) == (b[1] > a[1]) for a, b in passed) % 2 == 1
