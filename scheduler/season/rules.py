"""Local rules as limits: nutrient caps, closed seasons, phosphorus, new turf, distance from water.

Every rule that binds is judged and said with its source; the strictest of them decides. Legal dates are the law's own
and do not move with the hemisphere.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from config.defaults import defaults
from config.models import Estate, Lawn, Product
from config.packs import (
    Cap,
    Closed,
    Fed,
    NewTurf,
    Nutrient,
    PeriodCap,
    Phosphorus,
    SingleCap,
    SlowShare,
    Water,
    YearCap,
    rules_in_force,
)
from scheduler.agronomy.nutrients import Nutrients, nutrients, slow_share
from scheduler.season.dose import dose_of
from scheduler.season.due import in_force
from scheduler.values import Entry, Limit

SPRING_HALF = ("January", "February", "March", "April", "May", "June")
MONTHS = (*SPRING_HALF, "July", "August", "September", "October", "November", "December")
UNITS: dict[Nutrient, str] = {"n": "g N/m2", "soluble-n": "g soluble N/m2", "p2o5": "g P2O5/m2"}
FED_NAMES: dict[Fed, str] = {"n": "nitrogen", "p2o5": "phosphorus", "k2o": "potassium"}


@dataclass(frozen=True)
class Past:
    """What went on a lawn on a day; None where the product's sheet is gone."""

    day: date
    product: str
    given: Nutrients | None


@dataclass(frozen=True)
class Case:
    """One application to judge, and what the lawn has had."""

    lawn: Lawn
    product: Product
    on: date
    dose: Nutrients
    past: tuple[Past, ...]

    def holds(self, nutrients_: Sequence[Fed]) -> bool:
        """Whether the product feeds any of these."""
        return any(getattr(self.dose, name) > 0 for name in nutrients_)

    def age_days(self) -> int | None:
        """Days since the lawn was sown or turfed (negative: still to come); None if that is not stated."""
        return None if self.lawn.sown_on is None else (self.on - self.lawn.sown_on).days

    def is_new(self, days: int) -> bool:
        """Whether the lawn was sown no more than so many days ago."""
        age = self.age_days()
        return age is not None and 0 <= age <= days


def rule_limits(
    estate: Estate, lawn: Lawn, product: Product, on: date, ledger: Sequence[Entry], rate: float | None = None
) -> tuple[Limit, ...]:
    """Every rule on applying `product` to `lawn` on `on`, at `rate` (ml or g per m2; None: the sheet's).

    Caps count this application with all that the ledger has for the lawn, across products; rows that were undone or
    skipped do not count. A row whose product sheet is gone makes a cap unknown unless it is already exceeded.
    """
    rules = rules_in_force(estate.rules)
    past = _past(estate, lawn, ledger) if any(isinstance(rule, Cap) for rule in rules) else ()
    case = Case(lawn, product, on, nutrients(product, rate), past)
    limits = [limit for rule in rules if (limit := _judge(rule, case)) is not None]
    return (*limits, *_water([rule for rule in rules if isinstance(rule, Water)], lawn))


def _past(estate: Estate, lawn: Lawn, ledger: Sequence[Entry]) -> tuple[Past, ...]:
    known = {product.id: product for product in estate.products}
    found = []
    for entry in in_force(ledger, lawn.id):
        if entry.kind == "done":
            sheet = known.get(entry.product)
            found.append(Past(entry.local_date, entry.product, dose_of(entry, sheet, lawn) if sheet else None))
    return tuple(found)


def _judge(rule: object, case: Case) -> Limit | None:
    """The limit a rule sets on the case; None where it has nothing to say (weather is judged elsewhere)."""
    match rule:
        case SingleCap():
            return _single_cap(rule, case)
        case PeriodCap():
            return _period_cap(rule, case)
        case YearCap():
            return _year_cap(rule, case)
        case SlowShare():
            return _slow_share(rule, case)
        case Closed():
            return _closed(rule, case)
        case Phosphorus():
            return _phosphorus(rule, case)
        case NewTurf():
            return _new_turf(rule, case)
    return None


# --- caps --------------------------------------------------------------------------------------------------------


def amount_of(given: Nutrients, nutrient: Nutrient) -> float:
    """The nutrient that a cap counts [g/m2]."""
    return {"n": given.n, "soluble-n": given.soluble_n, "p2o5": given.p2o5}[nutrient]


def _single_cap(rule: SingleCap, case: Case) -> Limit | None:
    if rule.from_ is not None and rule.to is not None and not within_days(case.on, rule.from_, rule.to):
        return None
    same_day = [past for past in case.past if past.day == case.on]
    return _cap(rule, case, rule.most, same_day, "")


def _period_cap(rule: PeriodCap, case: Case) -> Limit | None:
    """The fullest run of `days` days that holds the application."""
    span = timedelta(days=rule.days - 1)
    near = [past for past in case.past if abs(past.day - case.on) <= span]
    starts = {case.on - span, *(past.day for past in near if past.day <= case.on)}
    runs = [[past for past in near if start <= past.day <= start + span] for start in starts]
    fullest = max(runs, key=lambda run: (any(p.given is None for p in run), _sum(run, rule.nutrient)))
    known = max(runs, key=lambda run: _sum(run, rule.nutrient))
    limit = _cap(rule, case, rule.most, known, f" in {rule.days} days")
    return (
        limit if limit is None or limit.ok is False else _cap(rule, case, rule.most, fullest, f" in {rule.days} days")
    )


def _year_cap(rule: YearCap, case: Case) -> Limit | None:
    most = rule.most
    if case.lawn.species is not None:
        most = rule.species.get(case.lawn.species, rule.most)
    this_year = [past for past in case.past if past.day.year == case.on.year]
    return _cap(rule, case, most, this_year, " in the year")


def _sum(run: Sequence[Past], nutrient: Nutrient) -> float:
    return sum(amount_of(past.given, nutrient) for past in run if past.given is not None)


def _cap(rule: Cap, case: Case, most: float, counted: Sequence[Past], span: str) -> Limit | None:
    dose = amount_of(case.dose, rule.nutrient)
    if dose <= 0:
        return None
    if rule.new_turf_most is not None and case.is_new(rule.new_turf_days):
        most = max(most, rule.new_turf_most)
    allowed, total = rule.grams(most), dose + _sum(counted, rule.nutrient)
    gone = sorted({past.product for past in counted if past.given is None})
    ok: bool | None = total <= allowed * (1 + 1e-9)
    note = rule.note
    if ok and gone:
        ok, note = None, f"not known what {', '.join(gone)} gave: its product sheet is gone"
    name = "phosphorus_cap" if rule.nutrient == "p2o5" else "nitrogen_cap"
    return Limit(name, round(total, 6), UNITS[rule.nutrient] + span, (None, allowed), ok, rule.source, note)


def _slow_share(rule: SlowShare, case: Case) -> Limit | None:
    if case.dose.n <= 0:
        return None
    share = 100 * slow_share(case.dose.n, case.dose.slow_n)
    most = rule.unless_soluble_g_m2
    enough = share >= rule.least_pct - 1e-9 or (most is not None and case.dose.soluble_n <= most * (1 + 1e-9))
    note = f"{share:.0f} % of its nitrogen is slow release (at least {rule.least_pct:g} %)"
    return Limit("nitrogen_cap", share, "% slow release", (rule.least_pct, None), enough, rule.source, note)


# --- dates, soil test, place -------------------------------------------------------------------------------------


def within_days(on: date, first: str, last: str) -> bool:
    """Whether a date lies between two month-days, both inclusive; the second may lie in the next year.

    Compared as month-day, so that "02-29" closes every last day of February, leap year or not.
    """
    day = f"{on:%m-%d}"
    return first <= day <= last if first <= last else day >= first or day <= last


def _closed(rule: Closed, case: Case) -> Limit | None:
    if rule.nutrients is not None and not case.holds(rule.nutrients):
        return None
    what = "" if rule.nutrients is None else f" for {_names(rule.nutrients)}"
    note = f"closed from {_day(rule.from_)} to {_day(rule.to)}{what}"
    ok = not within_days(case.on, rule.from_, rule.to)
    return Limit("closed_season", None, "", (None, None), ok, rule.source, note)


def _day(month_day: str) -> str:
    return f"{int(month_day[3:])} {MONTHS[int(month_day[:2]) - 1]}"


def _names(fed: Sequence[Fed]) -> str:
    *first, last = (FED_NAMES[name] for name in fed)
    return f"{', '.join(first)} and {last}" if first else last


def _phosphorus(rule: Phosphorus, case: Case) -> Limit | None:
    if case.dose.p2o5 <= 0 or not _above_trigger(rule, case.product):
        return None
    ok, note = _phosphorus_allowed(rule, case)
    return Limit("phosphorus_cap", None, "", (None, None), ok, rule.source, note)


def _above_trigger(rule: Phosphorus, product: Product) -> bool:
    """Whether the P2O5 by weight is above the trigger. A w/v label without density is taken to be above it."""
    percent = product.npk_pct[1]
    if product.basis == "w/v":
        if product.density_kg_l is None:
            return True
        percent /= product.density_kg_l
    return percent > rule.trigger_p2o5_pct


def _phosphorus_allowed(rule: Phosphorus, case: Case) -> tuple[bool, str]:
    if case.is_new(rule.first_season_days):
        return True, "phosphorus in the first season of a new lawn"
    tested, level = case.lawn.soil_test_on, case.lawn.soil_test_p
    if tested is None or level is None:
        return False, "phosphorus needs a soil test that asks for it: none is recorded"
    if tested > case.on:
        return False, f"phosphorus needs a soil test that asks for it: the one recorded is of {tested}"
    if _years_on(tested, rule.test_years) < case.on:
        return False, f"the soil test of {tested} is older than {rule.test_years} years"
    if level in ("high", "very-high"):
        return False, f"the soil test of {tested} found phosphorus {level.replace('-', ' ')}: no more is wanted"
    return True, f"the soil test of {tested} found phosphorus {level}"


def _years_on(day: date, years: int) -> date:
    """The same day some years on; 29 February becomes the 28th."""
    leap = (day.month, day.day) == (2, 29)
    return day.replace(year=day.year + years, day=28 if leap else day.day)


def _new_turf(rule: NewTurf, case: Case) -> Limit | None:
    age = case.age_days()
    if age is None or not case.holds(rule.nutrients):
        return None
    if age < 0:
        note = f"to be sown in {-age} days: none in the {rule.days_before} days before"
        return Limit("new_turf", None, "", (None, None), -age > rule.days_before, rule.source, note)
    return Limit("new_turf", age, "d since sowing", (rule.days_after, None), age >= rule.days_after, rule.source)


def _water(rules: Sequence[Water], lawn: Lawn) -> list[Limit]:
    """Distance from surface water, for lawns that state one: the longest distance asked for."""
    if lawn.water_within_m is None:
        return []
    shipped = defaults("ground")["water_min_m"]
    least, source = max([(shipped.number, shipped.source), *((r.least_m, r.source) for r in rules)], key=lambda x: x[0])
    return [Limit("water_distance", lawn.water_within_m, "m", (least, None), lawn.water_within_m >= least, source)]
