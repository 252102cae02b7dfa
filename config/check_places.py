"""Rules on single lawns: empty and swapped coordinates, and a species of the other kind of grass."""

from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import chain, islice
from math import floor

from config.countries import place_of
from config.models import Lawn
from config.parts import Item
from config.problems import Problem
from config.reference_data import grass_species

FAR_DEG = 20.0
NEAR_DEG = 5.0
CELL_DEG = 10.0
# No zone of one country reaches so far from its principal place on both sides of the diagonal that this errs.
ZONE_FAR_DEG = 30.0
ZONE_NEAR_DEG = 15.0

Place = tuple[float, float]  # latitude, longitude


def check_places(lawns: list[Item[Lawn]], zone: str | None = None) -> Iterator[Problem]:
    """Lawns at 0, 0, lawns whose coordinates only fit the others, or their time zone, when exchanged, and ill-matched
    grasses. `zone` is the estate's, for lawns without one of their own."""
    yield from _species(lawns)
    placed = [item for item in lawns if item.sound("latitude", "longitude")]
    exchanged = _exchanged(placed, zone)
    for item in (placed[number] for number in sorted(exchanged)):
        given = f"{item.part.latitude:g}, {item.part.longitude:g}"
        found = f"{given}, far from the time zone {item.part.timezone or zone} (latitude and longitude swapped?)"
        wanted = f"latitude then longitude; {item.part.longitude:g}, {item.part.latitude:g} lies in that zone"
        yield item.problem("latitude", found, wanted)
    placed = [item for number, item in enumerate(placed) if number not in exchanged]
    for item in placed:
        if item.part.latitude == 0 and item.part.longitude == 0:
            yield item.problem("latitude", "0, 0 (a place in the sea, as empty cells give)", "the place of the lawn")
    # Whoever shares a cell with another lawn is not far from it; few are left to compare with all others.
    cells = Counter(_cell(item) for item in placed)
    places = [(item.part.latitude, item.part.longitude) for item in placed]
    for number, (item, here) in enumerate(zip(placed, places, strict=True)):
        if cells[_cell(item)] > 1:
            continue
        if _swapped(here, chain(islice(places, number), islice(places, number + 1, None))):
            found = f"{here[0]:g}, {here[1]:g}, far from every other lawn (latitude and longitude swapped?)"
            yield item.problem("latitude", found, f"latitude then longitude; {here[1]:g}, {here[0]:g} lies near others")


def _exchanged(placed: list[Item[Lawn]], zone: str | None) -> set[int]:
    """Numbers of the lawns that lie far from their zone's principal place, but near it with coordinates exchanged.

    A zone that some lawn fits as it stands is in order: its other lawns are held against that one.
    """
    suspects: dict[str, set[int]] = {}
    in_order: set[str] = set()
    for number, item in enumerate(placed):
        name = item.part.timezone or zone
        place = place_of(name) if name else None
        latitude, longitude = item.part.latitude, item.part.longitude
        if name is None or place is None or (latitude, longitude) == (0, 0):
            continue
        if _apart((latitude, longitude), place) <= ZONE_FAR_DEG:
            in_order.add(name)
        elif abs(longitude) <= 90 and _apart((longitude, latitude), place) <= ZONE_NEAR_DEG:
            suspects.setdefault(name, set()).add(number)
    return {number for name, numbers in suspects.items() if name not in in_order for number in numbers}


def _species(lawns: list[Item[Lawn]]) -> Iterator[Problem]:
    for item in lawns:
        species, grass = item.part.species, item.part.grass
        if species is not None and item.sound("grass") and grass_species()[species].type != grass:
            found = f'"{grass}", where {species} is {grass_species()[species].type}-season'
            yield item.problem("grass", found, "the kind of the species, or the species alone")


def _cell(item: Item[Lawn]) -> tuple[int, int]:
    return floor(item.part.latitude / CELL_DEG), floor(item.part.longitude / CELL_DEG)


def _swapped(here: Place, others: Iterable[Place]) -> bool:
    latitude, longitude = here
    if abs(longitude) > 90:
        return False
    turned = (longitude, latitude)
    near = False
    for other in others:
        if _apart(here, other) <= FAR_DEG:
            return False
        near = near or _apart(turned, other) <= NEAR_DEG
    return near


def _apart(one: Place, other: Place) -> float:
    """The larger of the two differences in degrees; round the globe in longitude."""
    turn = abs(one[1] - other[1]) % 360
    return max(abs(one[0] - other[0]), min(turn, 360 - turn))
