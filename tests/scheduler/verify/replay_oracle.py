"""The policies of a replay, one due date and one day at a time, and outcomes read straight off the rain."""

import math


def came(rain, start, terms):
    """(washed off, 'dissolved' | 'dry' | 'heavy') for work at one hour; None where rain is missing."""
    after = list(rain[start : start + int(terms.dry_for_h)])
    window = list(rain[start : start + int(terms.dissolve_h)])
    wet = None if any(map(math.isnan, after)) else sum(after) >= terms.wet_mm - 1e-9
    if any(map(math.isnan, window)):
        return wet, None
    low, high = terms.band_mm
    heavy_day = max(sum(window[k : k + 24]) for k in range(len(window) - 23)) > terms.heavy_mm_24h + 1e-9
    if sum(window) > high + 1e-9 or max(window) > terms.heavy_mm_h + 1e-9 or heavy_day:
        return wet, "heavy"
    return wet, "dry" if sum(window) < low - 1e-9 else "dissolved"


def day_taken(days, may_go):
    """The first day that may go, else the last."""
    for day in days:
        if may_go(day):
            return day
    return days[-1]
