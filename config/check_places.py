"""Rules on single lawns: empty and swapped coordinates, and a species of the other kind of grass."""

from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import chain, islice
from math import floor

from config.models import Lawn
from config.parts import Item
from config.problems import Problem
from config.reference_data import grass_species

FAR_DEG = 20.0
NEAR_DEG = 5.0
CELL_DEG = 10.0

Place = tuple[float, float]  # latitude, longitude


def check_places(lawns: list[Item[Lawn]]) -> Iterator[Problem]:
    """Lawns at 0, 0, lawns that only fit the others with latitude and longitude exchanged, and ill-matched grasses."""
    yield from _species(lawns)
    placed = [item for item in lawns if item.sound("latitude", "longitude")]
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
