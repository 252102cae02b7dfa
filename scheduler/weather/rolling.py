"""Rolling windows over the last axis: window t covers [t, t + width), NaN where it holds a NaN or runs past the end.

Each is built by doubling (window 2k from two windows k), so that the work grows with log2(width) and no rounding error
is carried along as in a running total.
"""

import math
from collections.abc import Callable

import numpy as np

from scheduler.weather.forecast import Floats


def whole_hours(hours: float) -> int:
    """Window length in whole hours, a part of an hour rounded up; ValueError unless finite and above 0."""
    if not (math.isfinite(hours) and hours > 0):
        raise ValueError(f"a window needs a positive number of hours, not {hours}")
    return max(1, math.ceil(hours - 1e-9))


def later(x: Floats, by: int) -> Floats:
    """x[..., t + by] at t; NaN past the end."""
    if by == 0:
        return x
    out = np.full_like(x, np.nan)
    if by < x.shape[-1]:
        out[..., :-by] = x[..., by:]
    return out


def rolling_sum(x: Floats, width: int) -> Floats:
    """Sum of each window; shape (..., H) as x."""
    return _rolling(x, width, np.add)


def rolling_max(x: Floats, width: int) -> Floats:
    """Highest value of each window; shape (..., H) as x."""
    return _rolling(x, width, np.maximum)


def rolling_product(x: Floats, width: int) -> Floats:
    """Product of each window; shape (..., H) as x."""
    return _rolling(x, width, np.multiply)


def _rolling(x: Floats, width: int, combine: Callable[..., Floats]) -> Floats:
    if width < 1:
        raise ValueError(f"a window needs at least one hour, not {width}")
    block = np.ascontiguousarray(x, dtype=np.float64)
    if width > block.shape[-1]:
        return np.full_like(block, np.nan)
    result: Floats | None = None
    done, size = 0, 1
    while True:  # the binary digits of width, lowest first
        if width & size:
            result = block if result is None else _beside(result, block, done, combine)
            done += size
        if done == width:
            break
        block = _beside(block, block, size, combine)
        size *= 2
    return block.copy() if result is None or width == 1 else result


def _beside(x: Floats, y: Floats, by: int, combine: Callable[..., Floats]) -> Floats:
    """combine(x[..., t], y[..., t + by]) at t; NaN past the end.

    Done on the flat arrays, which is several times as fast: what reaches over into the next row is past the end.
    """
    out = np.empty_like(y)
    combine(x.reshape(-1)[:-by], y.reshape(-1)[by:], out=out.reshape(-1)[:-by])
    out[..., -by:] = np.nan
    return out
