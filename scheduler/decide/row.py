"""One limit over the hours of a forecast."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.forecast import Floats

Bools = NDArray[np.bool_]


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

    @property
    def known(self) -> Bools:
        """Where the value is known."""
        return np.isfinite(self.value)

    @property
    def ok(self) -> Bools:
        """Where the value is known and inside the allowed range."""
        inside = self.known.copy()
        with np.errstate(invalid="ignore"):
            if self.low is not None:
                inside &= self.value >= np.asarray(self.low) - 1e-9
            if self.high is not None:
                inside &= self.value <= np.asarray(self.high) + 1e-9
        return inside

    @property
    def passes(self) -> Bools:
        """Where the limit does not stop a go."""
        return self.ok if self.blocks else self.ok | ~self.known
