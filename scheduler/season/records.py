"""What a full record of an application holds, and what laws ask of it: the fields of a ledger row that are missing.

Two laws and the custom of the trade. They never stand above local law; some places ask for more.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from config.countries import country_of
from config.models import Estate, Lawn, Product
from scheduler.values import Entry

Regime = Literal["us", "eu", "fertiliser"]

# Regulation (EC) 1107/2009 binds the Union and the European Economic Area; the United Kingdom keeps its Article 67
# (from memory).
EUROPE = frozenset((
    "AT", "BE", "BG", "CY", "CZ", "DE", "DK", "EE", "ES", "FI", "FR", "GB", "GR", "HR", "HU", "IE", "IS", "IT", "LI",
    "LT", "LU", "LV", "MT", "NL", "NO", "PL", "PT", "RO", "SE", "SI", "SK",
))  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A row with what it is about."""

    entry: Entry
    lawn: Lawn
    product: Product
    estate: Estate

    @property
    def professional(self) -> bool:
        """Whether the estate works for pay."""
        return self.estate.rules.user == "professional"


@dataclass(frozen=True)
class Asked:
    """A field of a record: its name in the ledger or the product sheet, in words, who asks, and when it is missing."""

    field: str
    words: str
    source: str
    missing: Callable[[Case], bool]


@dataclass(frozen=True)
class Law:
    """A set of fields. `pesticides`: asks only for products that are plant protection products or like them."""

    title: str
    source: str
    pesticides: bool
    asked: tuple[Asked, ...]


def _empty(name: str) -> Callable[[Case], bool]:
    return lambda case: getattr(case.entry, name) in (None, "")


def _unregistered(case: Case) -> bool:
    return not case.product.label.registration


def _no_analysis(case: Case) -> bool:
    return not any(case.product.npk_pct) and not case.product.iron_pct


def _if(condition: Callable[[Case], bool], name: str) -> Callable[[Case], bool]:
    empty = _empty(name)
    return lambda case: condition(case) and empty(case)


def _is_sprayed(case: Case) -> bool:
    return case.product.form == "liquid"


def _is_near_water(case: Case) -> bool:
    return case.lawn.water_within_m is not None


def _is_professional(case: Case) -> bool:
    return case.professional


_GRDC = "weather at the start of the work: GRDC spray record guidance"
_CUSTOM = "common practice"

# Date, place and area are in every row: the lawn has them.
LAWS: dict[Regime, Law] = {
    "us": Law(
        "United States, certified applicators: within 14 days, kept for 2 years",
        "7 CFR 110.3",
        True,
        (
            Asked("registration", "EPA registration number (product sheet)", "7 CFR 110.3(a)(1)", _unregistered),
            Asked("amount", "total amount, undiluted", "7 CFR 110.3(a)(2)", _empty("amount")),
            Asked("by", "name of the applicator", "7 CFR 110.3(a)(5)", _empty("by")),
            Asked("licence", "certification number", "7 CFR 110.3(a)(5)", _empty("licence")),
        ),
    ),
    "eu": Law(
        "Europe, professional users: electronic from 2026, kept for 3 years",
        "Regulation (EC) 1107/2009 Art. 67 and Regulation (EU) 2023/564",
        True,
        (
            Asked("registration", "authorisation number (product sheet)", "Reg. (EU) 2023/564", _unregistered),
            Asked("amount", "dose", "Reg. (EC) 1107/2009 Art. 67(1)", _empty("amount")),
            Asked("crop", "crop, as EPPO code", "Art. 67(1); Reg. (EU) 2023/564", _empty("crop")),
        ),
    ),
    "fertiliser": Law(
        "A full record of a feed",
        "common practice; no law",
        False,
        (
            Asked("analysis", "analysis (product sheet)", _CUSTOM, _no_analysis),
            Asked("batch", "batch", _CUSTOM, _empty("batch")),
            Asked("amount", "amount", _CUSTOM, _empty("amount")),
            Asked("water_l", "water volume", _CUSTOM, _if(_is_sprayed, "water_l")),
            Asked("by", "operator", _CUSTOM, _empty("by")),
            Asked("licence", "licence", _CUSTOM, _if(_is_professional, "licence")),
            Asked("equipment", "equipment", _CUSTOM, _empty("equipment")),
            Asked("calibrated_on", "calibration date", _CUSTOM, _empty("calibrated_on")),
            Asked("end", "end of the work", _CUSTOM, _empty("end")),
            Asked("temperature_c", "temperature", _GRDC, _empty("temperature_c")),
            Asked("humidity_pct", "humidity", _GRDC, _empty("humidity_pct")),
            Asked("wind_m_s", "wind", _GRDC, _empty("wind_m_s")),
            Asked("wind_from", "wind direction", _GRDC, _empty("wind_from")),
            Asked("soil", "soil wetness", _CUSTOM, _empty("soil")),
            Asked("forecast_provider", "forecast it rested on", _CUSTOM, _empty("forecast_provider")),
            Asked("buffer_m", "distance kept from water", _CUSTOM, _if(_is_near_water, "buffer_m")),
            Asked("reentry_told", "re-entry told", _CUSTOM, _if(_is_professional, "reentry_told")),
            Asked("signs_posted", "signs posted", _CUSTOM, _if(_is_professional, "signs_posted")),
            Asked("reason", "reason", _CUSTOM, _empty("reason")),
        ),
    ),
}


def is_pesticide_like(product: Product) -> bool:
    """Whether record laws for pesticides may ask about a product: it treats weeds or moss, or carries a registration.

    Only a label tells whether a product is one, and in the United States whether its use is restricted.
    """
    return product.form == "combined" or bool(product.label.registration)


def missing_legal_fields(entry: Entry, lawn: Lawn, product: Product, estate: Estate, regime: Regime) -> list[str]:
    """Names of the fields that `regime` asks for and the row lacks, in the regime's order; LAWS has words and sources.

    Nothing is asked of rows that were skipped or taken back, nor by a pesticide law of a product that is none.
    """
    return [asked.field for asked in missing_asked(entry, lawn, product, estate, regime)]


def missing_asked(entry: Entry, lawn: Lawn, product: Product, estate: Estate, regime: Regime) -> list[Asked]:
    """As `missing_legal_fields`, each with its words and source."""
    law = LAWS[regime]
    if entry.kind != "done" or entry.undone_at is not None or (law.pesticides and not is_pesticide_like(product)):
        return []
    case = Case(entry, lawn, product, estate)
    return [asked for asked in law.asked if asked.missing(case)]


def regimes_of(estate: Estate, lawn: Lawn) -> tuple[Regime, ...]:
    """The regimes of a lawn: the law of the country its time zone lies in, where it is known here, and the custom."""
    country = country_of(estate.zone_of(lawn))
    if country == "US":
        return ("us", "fertiliser")
    return ("eu", "fertiliser") if country in EUROPE else ("fertiliser",)
