"""Local rules as limits: nutrient caps, closed seasons, distance from water. The strictest of all that apply wins."""

from collections.abc import Sequence
from datetime import date

from config.defaults import defaults
from config.models import Estate, Lawn, Product
from scheduler.agronomy.nutrients import Nutrients, nutrients, rate_of_amount
from scheduler.season.due import in_force, month_day
from scheduler.values import Entry, Limit


def rule_limits(
    estate: Estate, lawn: Lawn, product: Product, on: date, ledger: Sequence[Entry], rate: float | None = None
) -> tuple[Limit, ...]:
    """Every rule on applying `product` to `lawn` on `on`, at `rate` (ml or g per m2; None: the sheet's)."""
    dose = nutrients(product, rate)
    limits = [*_single_caps(estate, dose), *_year_caps(estate, lawn, dose, on, ledger), *_closed(estate, on)]
    return (*limits, *_water(estate, lawn))


def _single_caps(estate: Estate, dose: Nutrients) -> list[Limit]:
    """Caps on one application."""
    limits = []
    if estate.rules.single_soluble_n_g_m2 is not None and dose.n > 0:
        source = "estate.toml [rules] single_soluble_n_g_m2"
        limits.append(
            _cap("nitrogen_cap", dose.soluble_n, "g soluble N/m2", estate.rules.single_soluble_n_g_m2, source)
        )
    if estate.rules.single_n_g_m2 is not None and dose.n > 0:
        limits.append(
            _cap("nitrogen_cap", dose.n, "g N/m2", estate.rules.single_n_g_m2, "estate.toml [rules] single_n_g_m2")
        )
    return limits


def _year_caps(estate: Estate, lawn: Lawn, dose: Nutrients, on: date, ledger: Sequence[Entry]) -> list[Limit]:
    """Caps on the calendar year, this application included, across all products."""
    rules, limits = estate.rules, []
    if rules.year_n_g_m2 is None and rules.year_p2o5_g_m2 is None:
        return []
    known = {product.id: product for product in estate.products}
    n, p2o5 = dose.n, dose.p2o5
    for entry in in_force(ledger, lawn.id):
        if entry.kind == "done" and entry.local_date.year == on.year and entry.product in known:
            product = known[entry.product]
            given = nutrients(product, rate_of_amount(product, entry.amount, lawn.area_m2))
            n, p2o5 = n + given.n, p2o5 + given.p2o5
    if rules.year_n_g_m2 is not None and dose.n > 0:
        limits.append(
            _cap("nitrogen_cap", n, "g N/m2 in the year", rules.year_n_g_m2, "estate.toml [rules] year_n_g_m2")
        )
    if rules.year_p2o5_g_m2 is not None and dose.p2o5 > 0:
        source = "estate.toml [rules] year_p2o5_g_m2"
        limits.append(_cap("phosphorus_cap", p2o5, "g P2O5/m2 in the year", rules.year_p2o5_g_m2, source))
    return limits


def _closed(estate: Estate, on: date) -> list[Limit]:
    """The estate's own closed seasons, both days inclusive; one may run over New Year."""
    limits = []
    for first, last in estate.rules.closed:
        begin, end = month_day(first, on.year), month_day(last, on.year)
        inside = begin <= on <= end if begin <= end else (on >= begin or on <= end)
        note = f"closed from {first} to {last}"
        limits.append(Limit("closed_season", None, "", (None, None), not inside, "estate.toml [rules] closed", note))
    return limits


def _water(estate: Estate, lawn: Lawn) -> list[Limit]:
    """Distance from surface water, for lawns that state one."""
    if lawn.water_within_m is None:
        return []
    shipped = defaults("ground")["water_min_m"]
    least, source = shipped.number, shipped.source
    if estate.rules.water_min_m is not None and estate.rules.water_min_m > least:
        least, source = estate.rules.water_min_m, "estate.toml [rules] water_min_m"
    ok = lawn.water_within_m >= least
    return [Limit("water_distance", lawn.water_within_m, "m", (least, None), ok, source)]


def _cap(name: str, value: float, unit: str, most: float, source: str) -> Limit:
    return Limit(name, round(value, 3), unit, (None, most), value <= most + 1e-9, source)
