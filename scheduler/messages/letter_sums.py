"""What a draft adds up to: the table of nutrients, how near it comes to the target, and what it costs."""

import textwrap
from collections.abc import Iterable, Sequence
from itertools import groupby

from scheduler.agronomy import units as u
from scheduler.agronomy.nutrients import Nutrients
from scheduler.messages import show
from scheduler.messages.letter_words import join
from scheduler.season.suggest_values import Stage, Suggestion

FEW_VISITS = 4


def table(told: Suggestion, units: str) -> str:
    """Nutrients by product and in all, in columns."""
    rows: list[tuple[str, ...]] = [("", "times", "N", "P2O5", "K2O", "Fe")]
    for _, group in _by_product(told.stages):
        stages = list(group)
        total = sum((stage.total for stage in stages), Nutrients())
        times = sum(len(stage.dates) for stage in stages)
        rows.append(
            (textwrap.shorten(stages[0].product.name, 40, placeholder="..."), str(times), *_cells(total, units))
        )
    rows.append((f"The year, {unit_of(units)}", "", *_cells(told.total, units)))
    widths = [max(len(row[i]) for row in rows) for i in range(6)]
    lines = [
        "  "
        + "  ".join(
            cell.ljust(w) if i == 0 else cell.rjust(w) for i, (cell, w) in enumerate(zip(row, widths, strict=True))
        )
        for row in rows
    ]
    return "\n".join(line.rstrip() for line in lines)


def _by_product(stages: Sequence[Stage]) -> Iterable[tuple[str, Iterable[Stage]]]:
    order = list(dict.fromkeys(stage.product.id for stage in stages))
    return groupby(sorted(stages, key=lambda s: order.index(s.product.id)), key=lambda s: s.product.id)


def _cells(total: Nutrients, units: str) -> tuple[str, ...]:
    return tuple(figure(x, units) if x else "-" for x in (total.n, total.p2o5, total.k2o, total.fe))


def figure(g_m2: float, units: str) -> str:
    """A nutrient amount as a bare number, in the unit of `unit_of`."""
    return f"{u.lb_1000ft2_from_g_m2(g_m2):.2f}" if units == "us" else f"{g_m2:.1f}"


def unit_of(units: str) -> str:
    """The unit in which nutrients are shown."""
    return "lb/1000 ft²" if units == "us" else "g/m²"


def sums(told: Suggestion, units: str) -> str:
    """How near the draft comes to the target, and what it costs."""
    off = told.total.n - told.target.wanted
    parts = ["That is what it gives if every visit is made; one that is missed is left out, never made up for."]
    if abs(off) > 0.1 * told.target.wanted:
        more = "more" if off > 0 else "less"
        why = "the doses on the sheets are too coarse to hit it"
        if off < 0:
            why = "one more dose would overshoot, or stand too close to the others"
        if -off > max((stage.dose.n for stage in told.stages), default=0.0):
            why = "more would have to go on closer together than is good for it"
        parts.append(f"It is {show.per_area(abs(off), units)} {more} than I aimed for: {why}.")
    visits = sum(len(stage.dates) for stage in told.stages)
    if told.wishes.effort == "monthly" and visits <= FEW_VISITS and off > -0.1 * told.target.wanted:
        parts.append("That is fewer visits than you offered; at the rates on the sheets it needs no more.")
    cost = told.cost()
    if cost is not None:
        spent, unpriced = cost
        without = f", not counting {join([p.name for p in unpriced])} for want of a price" if unpriced else ""
        parts.append(f"At the prices in products.toml it costs about {spent:.2f} a year{without}.")
    return " ".join(parts)
