"""The root zone of a lawn as a store of water: what it holds, how it dries, how it drains.

Water is mm over the root depth. Drying follows FAO-56 chapter 8 (TAW, RAW, Ks); what is above field capacity drains
at a rate that falls with it. Both are integrated exactly over a step, so that hours and days give the same water and
a wetter start never ends drier.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from config.reference_data import GrassKind, SoilTexture, grass_types

Floats = NDArray[np.float64]

TIMES_TO_DRAIN = 3.0  # time constants until 95 % has drained, which is called drained
LEAST_AIR = 0.10  # of the soil's volume filled with air: below it roots lack oxygen (common limit, from memory)


@dataclass(frozen=True)
class RootZone:
    """Water marks of one or more root zones [mm], arrays of one shape."""

    wilting: Floats  # nothing left for the grass
    capacity: Floats  # drained
    saturation: Floats  # every pore full
    waterlogged: Floats  # above it the soil counts as saturated
    stress: Floats  # below it the grass saves water
    drain_h: Floats  # time constant of draining

    @property
    def total_available(self) -> Floats:
        """TAW [mm]: FAO-56 eq. 82."""
        return self.capacity - self.wilting

    @property
    def readily_available(self) -> Floats:
        """RAW [mm]: FAO-56 eq. 83."""
        return self.capacity - self.stress


def total_available_mm(field_capacity: float, wilting: float, root_m: float) -> float:
    """TAW = 1000 (FC - WP) Zr [mm]: FAO-56 eq. 82."""
    return 1000 * (field_capacity - wilting) * root_m


def root_zones(textures: list[SoilTexture], grass: GrassKind, root_m: float | None = None) -> RootZone:
    """The root zones of a grass on some textures, shape (textures,).

    A soil counts as saturated with less than a tenth of its volume in air, or with more than half of the pores full
    that drain; the wetter of both (engineering default: in clay a tenth of air is never reached).
    """
    kind = grass_types()[grass]
    depth = 1000 * (kind.root_m.number if root_m is None else root_m)
    wp = np.array([soil.wilting.number for soil in textures])
    fc = np.array([soil.field_capacity.number for soil in textures])
    sat = np.array([soil.saturation.number for soil in textures])
    return RootZone(
        wilting=depth * wp,
        capacity=depth * fc,
        saturation=depth * sat,
        waterlogged=depth * np.maximum(sat - LEAST_AIR, (fc + sat) / 2),
        stress=depth * (fc - kind.depletion_share.number * (fc - wp)),
        drain_h=np.array([soil.drained_days.number for soil in textures]) * 24 / TIMES_TO_DRAIN,
    )


def stress_coefficient(zone: RootZone, water_mm: ArrayLike) -> Floats:
    """Ks, the share of full evapotranspiration that the grass keeps up: FAO-56 eq. 84, 0..1."""
    left = np.asarray(water_mm, dtype=np.float64) - zone.wilting
    return np.clip(left / (zone.stress - zone.wilting), 0.0, 1.0)


def dry(zone: RootZone, water_mm: Floats, demand_mm: ArrayLike) -> Floats:
    """Water after `demand_mm` of crop evapotranspiration: full above the stress mark, then slowing with Ks.

    Exact solution of dW/dt = -Ks(W) ETc over the step, so that a demand may be taken in one piece or in many.
    """
    demand = np.asarray(demand_mm, dtype=np.float64)
    ease = zone.stress - zone.wilting
    left = water_mm - zone.wilting
    at_ease = np.minimum(np.maximum(left - ease, 0.0), demand)
    rest = demand - at_ease
    after = left - at_ease
    return zone.wilting + np.where(rest > 0, after * np.exp(-rest / ease), after)


def drain(zone: RootZone, water_mm: Floats, hours: float) -> Floats:
    """Water after draining freely for `hours`: what is above field capacity dwindles exponentially."""
    above = np.maximum(water_mm - zone.capacity, 0.0)
    return np.asarray(water_mm - above * (1 - np.exp(-hours / zone.drain_h)))
