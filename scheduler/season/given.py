"""What a lawn was given over the year and of late, across all products, and how it stands against every cap."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from config.models import Estate, Lawn, Product
from scheduler.agronomy.nutrients import Nutrients
from scheduler.season.dose import dose_of
from scheduler.season.due import in_force
from scheduler.season.rules import rule_limits
from scheduler.values import Entry, Limit

RECENT_DAYS = 30
CAPS = ("nitrogen_cap", "phosphorus_cap")

# Rules judge an application. This one gives next to nothing of everything that is capped, so that what a rule counts
# with it is what the ledger counts without it.
_TRACE = Product(id="trace", name="-", form="granular", analysis="1-1-1", rate_g_m2=1)
_TRACE_RATE = 1e-9


@dataclass(frozen=True)
class Capped:
    """A cap with what counts against it, and the day of the year on which most did."""

    on: date
    limit: Limit


@dataclass(frozen=True)
class Given:
    """What one lawn had [g/m2] in a year up to the day `on`, and in the 30 days that end with it."""

    lawn: str
    on: date
    year: Nutrients
    recent: Nutrients
    caps: tuple[Capped, ...]
    unknown: tuple[str, ...]  # products of the year whose sheet is gone: their nutrients are not in the sums

    @property
    def recent_from(self) -> date:
        """First of the last 30 days."""
        return self.on - timedelta(days=RECENT_DAYS - 1)


def given_to(estate: Estate, lawn: Lawn, entries: Sequence[Entry], on: date) -> Given:
    """Sums for the year of `on` up to that day and for the last 30 days, across all products, against every cap.

    `entries` may hold other lawns. Caps on a single application or on a number of days show the fullest of the year.
    """
    rows = [row for row in in_force(entries, lawn.id) if row.kind == "done" and row.local_date <= on]
    year = [row for row in rows if row.local_date.year == on.year]
    recent = [row for row in rows if row.local_date > on - timedelta(days=RECENT_DAYS)]
    known = {product.id for product in estate.products}
    return Given(
        lawn.id, on, sum_of(estate, lawn, year), sum_of(estate, lawn, recent), _caps(estate, lawn, rows, on),
        tuple(sorted({row.product for row in year} - known)),
    )  # fmt: skip


def sum_of(estate: Estate, lawn: Lawn, rows: Iterable[Entry]) -> Nutrients:
    """The sum over rows of one lawn [g/m2]; rows whose product sheet is gone give nothing that is known."""
    known = {product.id: product for product in estate.products}
    doses = (dose_of(row, known[row.product], lawn) for row in rows if row.product in known)
    return sum(doses, Nutrients())


def _caps(estate: Estate, lawn: Lawn, rows: Sequence[Entry], on: date) -> tuple[Capped, ...]:
    days = {on, *(row.local_date for row in rows if row.local_date.year == on.year)}
    fullest: dict[tuple[str, str, str], Capped] = {}
    for day in sorted(days):
        for limit in rule_limits(estate, lawn, _TRACE, day, rows, _TRACE_RATE):
            if limit.name in CAPS and limit.value is not None and limit.allowed[1] is not None:
                key = (limit.name, limit.unit, limit.source)
                found = Capped(day, limit)
                if key not in fullest or _fullness(found) >= _fullness(fullest[key]):
                    fullest[key] = found
    return tuple(fullest.values())


def _fullness(capped: Capped) -> tuple[int, float]:
    """Broken caps before unknown ones before kept ones; then by the share that is used up."""
    limit, allowed = capped.limit, capped.limit.allowed[1] or 0.0
    rank = {False: 2, None: 1, True: 0}[limit.ok]
    return rank, (limit.value or 0.0) / allowed if allowed else limit.value or 0.0
