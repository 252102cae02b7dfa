"""Water balance of a lawn, by the hour or by the day: is its soil saturated, moist, dry, or the grass dormant?

Nobody measures where the balance starts. It is therefore kept twice, from the driest and from the wettest start that
can be; rain brings both together. While they disagree the state is not known. Missing rain or evapotranspiration
parts them again: the dry track takes none and the most, the wet track as much as the soil holds and none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from config.models import Lawn
from config.reference_data import GrassKind, crop_coefficients, grass_types, soils
from scheduler.agronomy.root_zone import RootZone, drain, dry, root_zones

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Water = Literal["saturated", "moist", "dry", "drought-dormant"]

STATES: tuple[Water, ...] = ("drought-dormant", "dry", "moist", "saturated")  # from dry to wet
EMPTY_SHARE = 0.10  # of TAW: less counts as almost no water left
MOST_REFERENCE_MM_H = 1.2  # ETo where it is missing, on the dry track: highest hourly values of hot, windy places
FLOOD_MM = 1e4  # rain where it is missing, on the wet track: more than any root zone holds


@dataclass(frozen=True)
class Store:
    """Where a balance stands, arrays of one shape: water, and how long it has been empty or moist again."""

    water_mm: Floats
    empty_h: Floats
    moist_h: Floats
    dormant: Bools


@dataclass(frozen=True)
class Balance:
    """A balance over T steps: arrays (T, ...). Rain + irrigation = change of water + evaporated + drained + ran off."""

    water_mm: Floats
    evaporated_mm: Floats
    drained_mm: Floats
    ran_off_mm: Floats
    state: NDArray[np.int64]  # index into STATES
    last: Store


@dataclass(frozen=True)
class Moisture:
    """Soil water of a lawn at the end of each step: the driest and the wettest that can be.

    `available` is 0 at wilting, 1 at field capacity, more above it.
    """

    driest: tuple[Water, ...]
    wettest: tuple[Water, ...]
    available_low: Floats
    available_high: Floats
    last: Store

    @property
    def states(self) -> tuple[Water | None, ...]:
        """The state of each step; None where it is not known."""
        return tuple(a if a == b else None for a, b in zip(self.driest, self.wettest, strict=True))

    @property
    def now(self) -> Water | None:
        """The state after the last step."""
        return self.states[-1] if self.driest else None

    def is_(self, state: Water, step: int = -1) -> bool | None:
        """Whether the lawn is in a state after a step: sure, sure not, or None where it can be either."""
        low, high = STATES.index(self.driest[step]), STATES.index(self.wettest[step])
        if low <= STATES.index(state) <= high:
            return True if low == high else None
        return False


def run(
    zone: RootZone,
    grass: GrassKind,
    start: Store,
    crop_et_mm: ArrayLike,
    water_in_mm: ArrayLike,
    step_h: float = 1.0,
) -> Balance:
    """Step the balance on. `crop_et_mm` (ETo x Kc) and `water_in_mm` (rain and irrigation) are (T,) or (T, ...), known.

    Within a step water comes in, what the pores cannot hold runs off, the rest drains, then the grass drinks.
    """
    kind = grass_types()[grass]
    to_dormant, to_green = 24 * kind.dormant_after_days.number, 24 * kind.green_after_days.number
    empty_mark = zone.wilting + EMPTY_SHARE * zone.total_available
    demand, water_in = np.asarray(crop_et_mm, dtype=np.float64), np.asarray(water_in_mm, dtype=np.float64)
    water, empty_h, moist_h, dormant = start.water_mm, start.empty_h, start.moist_h, start.dormant
    kept: list[tuple[Floats, Floats, Floats, Floats, NDArray[np.int64]]] = []
    for need, came in zip(demand, water_in, strict=True):
        filled = np.minimum(water + came, zone.saturation)
        ran_off = water + came - filled
        drained = drain(zone, filled, step_h)
        water = dry(zone, drained, need)
        empty_h = np.where(water <= empty_mark, empty_h + step_h, 0.0)
        moist_h = np.where(water >= zone.stress, moist_h + step_h, 0.0)
        dormant = np.where(dormant, moist_h < to_green, empty_h >= to_dormant)
        state = _state(zone, water, dormant)
        kept.append((water, drained - water, filled - drained, ran_off, state))
    last = Store(water, empty_h, moist_h, dormant)
    if not kept:
        none = np.zeros((0, *water.shape))
        return Balance(none, none, none, none, none.astype(np.int64), last)
    columns = [np.array(column) for column in zip(*kept, strict=True)]
    return Balance(columns[0], columns[1], columns[2], columns[3], columns[4], last)


def _state(zone: RootZone, water: Floats, dormant: Bools) -> NDArray[np.int64]:
    """Index into STATES: grass that is dormant stays so until its roots have had water long enough, unless flooded."""
    wet = np.where(water >= zone.stress, 2, 1)
    return np.where(water >= zone.waterlogged, 3, np.where(dormant, 0, wet))


def at_capacity(zone: RootZone) -> Store:
    """A store at field capacity with green grass, the state a day or two after a good soaking."""
    nothing = np.zeros_like(zone.capacity)
    return Store(zone.capacity, nothing, nothing, np.zeros_like(zone.capacity, dtype=np.bool_))


def unknown(zone: RootZone, grass: GrassKind) -> Store:
    """The driest and the wettest store that can be, shape (2, ...): dormant at wilting, green and waterlogged."""
    long_h = 24 * max(grass_types()[grass].dormant_after_days.number, grass_types()[grass].green_after_days.number)
    water = np.stack([zone.wilting, zone.saturation])
    is_dry = np.stack([np.ones_like(zone.wilting), np.zeros_like(zone.wilting)])
    return Store(water, long_h * is_dry, long_h * (1 - is_dry), is_dry.astype(np.bool_))


def lawn_zone(lawn: Lawn) -> RootZone:
    """The root zone of a lawn, shape (textures,): one where its soil is stated, else every texture there is."""
    table = soils()
    return root_zones([table[lawn.soil]] if lawn.soil else list(table.values()), lawn.grass)


def moisture(
    lawn: Lawn,
    reference_mm: ArrayLike,
    rain_mm: ArrayLike,
    months: Sequence[int],
    *,
    irrigation_mm: ArrayLike = 0.0,
    step_h: float = 1.0,
    start: Store | None = None,
) -> Moisture:
    """Soil water of a lawn over T steps from ETo and rain [mm per step], shape (T,), NaN where missing.

    `months` are the calendar months of the steps. `start` is the `last` of an earlier call; None: nothing is known.
    A soil that is not stated is kept as every texture, and the state known only where all agree.
    """
    zone = lawn_zone(lawn)
    reference, rain = np.asarray(reference_mm, dtype=np.float64), np.asarray(rain_mm, dtype=np.float64)
    poured = np.broadcast_to(np.asarray(irrigation_mm, dtype=np.float64), rain.shape)
    kc = coefficients(lawn.grass, months, southern=lawn.latitude < 0)
    most = np.stack([np.where(np.isnan(reference), MOST_REFERENCE_MM_H * step_h, reference), _or(reference, 0.0)], 1)
    came = np.stack([_or(rain, 0.0), np.where(np.isnan(rain), FLOOD_MM, rain)], 1) + _or(poured, 0.0)[:, None]
    begun = unknown(zone, lawn.grass) if start is None else start
    balance = run(zone, lawn.grass, begun, (most * kc[:, None])[:, :, None], came[:, :, None], step_h)
    share = (balance.water_mm - zone.wilting) / zone.total_available
    tracks = (1, 2)  # both starts, every texture
    return Moisture(
        driest=tuple(STATES[i] for i in balance.state.min(axis=tracks)),
        wettest=tuple(STATES[i] for i in balance.state.max(axis=tracks)),
        available_low=share.min(axis=tracks),
        available_high=share.max(axis=tracks),
        last=balance.last,
    )


def coefficients(grass: GrassKind, months: Sequence[int], *, southern: bool = False) -> Floats:
    """Crop coefficient Kc of each step by its month (1..12), six months on in the southern hemisphere."""
    table = np.asarray(crop_coefficients(grass).value, dtype=np.float64)
    return table[(np.asarray(months, dtype=np.int64) - 1 + (6 if southern else 0)) % 12]


def months_of(times: Sequence[datetime]) -> list[int]:
    """The months of some instants."""
    return [when.month for when in times]


def _or(values: Floats, other: float) -> Floats:
    return np.where(np.isnan(values), other, values)
