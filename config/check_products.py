"""Rules across the fields of one product sheet."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from config.models import Product
from config.parts import Item
from config.problems import Problem
from config.wording import found_text

LONGEST_DAYS = 3660  # ten years: more is a slip of the finger
MOST_PER_YEAR = 366

_RANGES = ("rain_band_mm", "wind_m_s", "temperature_c", "delta_t_c")
_NEVER_NEGATIVE = ("rain_band_mm", "wind_m_s", "delta_t_c")


def check_product(item: Item[Product]) -> Iterator[Problem]:
    """Every broken rule of one product."""
    yield from _rates(item)
    yield from _spray(item)
    yield from _analysis(item)
    yield from _ranges(item)
    yield from ordered_days(item)
    yield from _counts(item)


def ordered_days(item: Item[Any]) -> Iterator[Problem]:
    """`every_days` of a product or step: earliest before latest, and a span that dates can bear."""
    days = item.part.every_days
    if days is None:
        return
    if days[0] > days[1]:
        yield item.problem("every_days", f"[{days[0]}, {days[1]}]", "the earliest first, then the latest")
    elif days[1] > LONGEST_DAYS:
        yield item.problem("every_days", f"{days[1]} days", f"at most {LONGEST_DAYS} days")


def day_exists(month_day: str) -> bool:
    """True if such a day exists in some year: 02-29 does, 02-30 does not."""
    try:
        date.fromisoformat(f"2000-{month_day}")
    except ValueError:
        return False
    return True


def _rates(item: Item[Product]) -> Iterator[Problem]:
    if not item.sound("form"):
        return
    form = item.part.form
    needed, other = ("rate_ml_m2", "rate_g_m2") if form == "liquid" else ("rate_g_m2", "rate_ml_m2")
    if item.sound(needed) and getattr(item.part, needed) is None:
        yield item.problem(needed, None, f"the rate of a {form} product")
    if other in item.raw:
        yield item.problem(other, f"a rate that a {form} product does not have", f"{needed} only")


def _spray(item: Item[Product]) -> Iterator[Problem]:
    product = item.part
    if not item.sound("form") or product.form != "liquid":
        return
    if item.sound("water_ml_m2") and product.water_ml_m2 is None:
        yield item.problem("water_ml_m2", None, "the spray volume of a liquid product, in ml/m2")
    volume, rate = product.water_ml_m2, product.rate_ml_m2
    if volume is not None and rate is not None and volume < rate:
        allowed = "the finished spray mix, at least rate_ml_m2"
        yield item.problem("water_ml_m2", f"{volume:g}, less than the product itself ({rate:g})", allowed)


def _analysis(item: Item[Product]) -> Iterator[Problem]:
    product = item.part
    if not item.sound("analysis"):
        return
    total = sum(product.npk_pct)
    if not total <= 100:
        yield item.problem("analysis", f"{product.analysis[:40]}, more than 100 % in all", "at most 100 % in all")
    if not item.sound("form", "basis", "density_kg_l", "iron_pct"):
        return
    if product.form != "liquid":
        if product.basis == "w/v":
            yield item.problem("basis", '"w/v"', f'"w/w" (a {product.form} product is weighed)')
    elif product.basis == "w/w" and product.density_kg_l is None and (total > 0 or product.iron_pct > 0):
        yield item.problem("density_kg_l", None, "the density: nutrients are given by weight, the rate by volume")


def _ranges(item: Item[Product]) -> Iterator[Problem]:
    for name in _RANGES:
        band: tuple[float, float] | None = getattr(item.part.weather, name)
        if band is None:
            continue
        found = f"[{band[0]:g}, {band[1]:g}]"
        if band[0] > band[1]:
            yield item.problem(f"weather.{name}", found, "the low end first, then the high end")
        elif name in _NEVER_NEGATIVE and band[0] < 0:
            yield item.problem(f"weather.{name}", found, "numbers of 0 or more")


def _counts(item: Item[Product]) -> Iterator[Problem]:
    product = item.part
    if product.most_per_year is not None and product.most_per_year > MOST_PER_YEAR:
        yield item.problem("most_per_year", found_text(product.most_per_year), f"at most {MOST_PER_YEAR}")
    days = {
        "label.mow_gap_days": max(product.label.mow_gap_days),
        "label.sowing_gap_days": product.label.sowing_gap_days,
    }
    for name, count in days.items():
        if count > LONGEST_DAYS:
            yield item.problem(name, f"{count} days", f"at most {LONGEST_DAYS} days")
