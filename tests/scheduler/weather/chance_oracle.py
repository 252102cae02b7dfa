"""Slow, plain answers to what scheduler.weather.chance computes in arrays."""

import itertools
import math


def rolling(values, width, combine):
    """One window at a time; NaN if it holds a NaN or runs past the end."""
    out = []
    for t in range(len(values)):
        window = list(values[t : t + width])
        short = len(window) < width or any(math.isnan(v) for v in window)
        out.append(math.nan if short else combine(window))
    return out


def chain(p, period_start, first, hours, rho):
    """The distinct rain periods of one window as (initial wet chance, [(wet if dry, wet if wet), ...])."""
    events = []  # (probability, length of the period in hours)
    for t in range(first, first + hours):
        if not events or period_start[t] != period_start[t - 1]:
            length = sum(1 for s in period_start if s == period_start[t])
            events.append((p[t], length))
    steps = []
    for (a, length_a), (b, length_b) in itertools.pairwise(events):
        cov = rho ** (((length_a + length_b) / 2) ** 0.63) * math.sqrt(a * (1 - a) * b * (1 - b))
        cov = min(cov, a * (1 - b), b * (1 - a))
        steps.append((b - cov / (1 - a) if a < 1 else b, b + cov / a if a > 0 else b))
    return events[0][0], steps


def window_by_enumeration(p, period_start, first, hours, rho):
    """P(any wet period) summed over every sequence of wet and dry, and each period's own chance in it."""
    start, steps = chain(p, period_start, first, hours, rho)
    any_wet, own = 0.0, [0.0] * (len(steps) + 1)
    for path in itertools.product((False, True), repeat=len(steps) + 1):
        chance = start if path[0] else 1 - start
        for before, after, (if_dry, if_wet) in zip(path, path[1:], steps, strict=False):
            wet = if_wet if before else if_dry
            chance *= wet if after else 1 - wet
        any_wet += chance if any(path) else 0.0
        own = [sum_so_far + chance * wet for sum_so_far, wet in zip(own, path, strict=True)]
    return any_wet, own


def walk(p, period_start, hours, rho, rng):
    """One random walk of the chain through the first `hours` hours: was any period wet?"""
    start, steps = chain(p, period_start, 0, hours, rho)
    wet = rng.random() < start
    seen = wet
    for if_dry, if_wet in steps:
        wet = rng.random() < (if_wet if wet else if_dry)
        seen = seen or wet
    return seen


def share(members, weights, hours, judge):
    """Weighted share of members per start hour for which judge(window) holds; NaN below 80 % of the weight."""
    out = []
    for t in range(len(members[0])):
        known = happened = 0.0
        for member, weight in zip(members, weights, strict=True):
            window = list(member[t : t + hours])
            if len(window) < hours or any(math.isnan(v) for v in window):
                continue
            known += weight
            happened += weight * judge(window)
        out.append(happened / known if known >= 0.8 * sum(weights) - 1e-9 else math.nan)
    return out


def band(window, low, high, heavy_h, heavy_24h):
    """'heavy', 'dry' or 'dissolved' for one member's window."""
    day = min(24, len(window))
    days = [sum(window[k : k + day]) for k in range(len(window) - day + 1)]
    if sum(window) > high + 1e-9 or max(window) > heavy_h + 1e-9 or max(days) > heavy_24h + 1e-9:
        return "heavy"
    return "dry" if sum(window) < low - 1e-9 else "dissolved"


def moved(rain, shift):
    """Rain of hour t taken from [t + shift[t], t + 1 + shift[t + 1]), by minutes; NaN as the input's hours are."""
    n, minutes = len(rain), 60

    def rate(x):
        return math.nan if x >= n else rain[max(0, math.floor(x))]

    out = []
    for t in range(n):
        left = t + shift[t]
        right = t + 1 + shift[min(t + 1, n - 1)]
        step = (right - left) / minutes
        out.append(sum(rate(left + (k + 0.5) * step) * step for k in range(minutes)))
    return out
