"""One limit over the hours of a forecast."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.forecast import Floats

Bools = NDArray[np.bool_]
TOLERANCE = 1e-9  # of a limit: what was reckoned must not fail it by rounding


@dataclass(frozen=True)
class Row:
    """One limit over the hours: value (hours,), allowed range, ok and known as (hours,) masks.

    `blocks` False: where the value is not known the hour may still be used, since the feed does not carry the variable
    and another limit stands in for it (the note says which).
    """

    name: str
    unit: str
    value: Floats
    low: Floats | float | None
    high: Floats | float | None
    source: str
    blocks: bool = True
    note: str = ""

    @cached_property
    def known(self) -> Bools:
        """Where the value is known."""
        return np.isfinite(self.value)

    @cached_property
    def ok(self) -> Bools:
        """Where the value is known and inside the allowed range."""
        inside = self.known
        if self.low is not None:
            inside = inside & (self.value >= self.low - TOLERANCE)
        if self.high is not None:
            inside = inside & (self.value <= self.high + TOLERANCE)
        return inside

    @property
    def passes(self) -> Bools:
        """Where the limit does not stop a go."""
        return self.ok if self.blocks else self.ok | ~self.known
