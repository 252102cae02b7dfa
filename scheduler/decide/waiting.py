"""Go now or wait: how good a day must be while there are days left to wait for a better one (optimal stopping)."""

from functools import cache

# Chances of a good granule day as forecasts give them through a season, by decile: shipped climate (see tests).
DEFAULT_DAYS = (0.05, 0.06, 0.07, 0.08, 0.10, 0.13, 0.18, 0.28, 0.45, 0.69)


@cache
def go_threshold(days_left: int, days: tuple[float, ...] = DEFAULT_DAYS) -> float:
    """Smallest chance of success that is worth taking with `days_left` days to wait; 0 left takes any day.

    Backward induction: the value of waiting is V(d) = mean(max(P, V(d-1))) over the climate's days, V(0) = mean(P).
    """
    if days_left <= 0:
        return 0.0
    value = sum(days) / len(days)
    for _ in range(days_left - 1):
        value = sum(max(chance, value) for chance in days) / len(days)
    return value
