"""Local rules as data: the shapes a rule can have, the packs that ship (config/reference/packs), an estate's own rules.

A pack is an example of one place's law as read on the date seen. It never stands above the product label or the
authority, and its dates are the law's: they do not move with the hemisphere.
"""

import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Annotated, Literal

from pydantic import Field, model_validator

from config.models import MonthDay, Part, Rules, Species

Nutrient = Literal["n", "soluble-n", "p2o5"]
Fed = Literal["n", "p2o5", "k2o"]
MassUnit = Literal["g/m2", "lb/1000 ft2"]
Seen = Annotated[str, Field(pattern=r"^20\d\d-(0[1-9]|1[0-2])$")]

CHECK = "check with your authority"
G_M2_PER_LB_1000FT2 = 453.59237 / (1000 * 0.3048**2)  # by definition of the pound and the foot
M_PER_FT = 0.3048


class RuleBase(Part):
    """What every rule carries: whom it binds, where it stands, when it was read (never for an estate's own)."""

    who: Literal["all", "ordinary", "professional"] = "all"
    source: Annotated[str, Field(min_length=4)]
    seen: Seen | None = None
    note: str = ""


class Cap(RuleBase):
    """A cap on a nutrient. On new turf (`new_turf_days` from sowing) `new_turf_most` may stand instead."""

    nutrient: Nutrient
    most: Annotated[float, Field(ge=0)]
    unit: MassUnit = "g/m2"
    new_turf_most: Annotated[float, Field(ge=0)] | None = None
    new_turf_days: Annotated[int, Field(ge=0)] = 0

    def grams(self, amount: float) -> float:
        """An amount in the rule's unit as g/m2."""
        return amount * G_M2_PER_LB_1000FT2 if self.unit == "lb/1000 ft2" else amount


class SingleCap(Cap):
    """Most of a nutrient in one application, all products of a day together; all year, or from one day to another."""

    kind: Literal["single-cap"] = "single-cap"
    from_: Annotated[MonthDay | None, Field(alias="from")] = None
    to: MonthDay | None = None


class PeriodCap(Cap):
    """Most of a nutrient in any `days` days in a row."""

    kind: Literal["period-cap"] = "period-cap"
    days: Annotated[int, Field(ge=1, le=366)]


class YearCap(Cap):
    """Most of a nutrient in a calendar year; by species where the rule names them, `most` for any other."""

    kind: Literal["year-cap"] = "year-cap"
    species: dict[Species, Annotated[float, Field(ge=0)]] = {}


class SlowShare(RuleBase):
    """Least share of the N that must be slow release, unless little enough of it is soluble."""

    kind: Literal["slow-share"] = "slow-share"
    least_pct: Annotated[float, Field(gt=0, le=100)]
    unless_soluble_most: Annotated[float, Field(gt=0)] | None = None
    unit: MassUnit = "g/m2"

    @property
    def unless_soluble_g_m2(self) -> float | None:
        """The soluble N [g/m2] up to which the share does not matter."""
        if self.unless_soluble_most is None:
            return None
        return self.unless_soluble_most * (G_M2_PER_LB_1000FT2 if self.unit == "lb/1000 ft2" else 1.0)


class Closed(RuleBase):
    """Days of the year (inclusive, may run over New Year) without some nutrients."""

    kind: Literal["closed"] = "closed"
    from_: Annotated[MonthDay, Field(alias="from")]
    to: MonthDay
    nutrients: Annotated[tuple[Fed, ...], Field(min_length=1)] | None = None  # None: nothing at all goes on the lawn


class Phosphorus(RuleBase):
    """No P above the trigger, but by a soil test that asks for it, or in the first season of a new lawn."""

    kind: Literal["phosphorus"] = "phosphorus"
    test_years: Annotated[int, Field(ge=1)]
    trigger_p2o5_pct: Annotated[float, Field(ge=0)] = 0.0
    first_season_days: Annotated[int, Field(ge=0)] = 365


class Water(RuleBase):
    """Least distance to surface water."""

    kind: Literal["water"] = "water"
    least: Annotated[float, Field(ge=0)]
    unit: Literal["m", "ft"] = "m"

    @property
    def least_m(self) -> float:
        """The distance in m."""
        return self.least * (M_PER_FT if self.unit == "ft" else 1.0)


class NewTurf(RuleBase):
    """Days before and after sowing or turfing without some nutrients."""

    kind: Literal["new-turf"] = "new-turf"
    days_before: Annotated[int, Field(ge=0)] = 0
    days_after: Annotated[int, Field(ge=0)]
    nutrients: Annotated[tuple[Fed, ...], Field(min_length=1)] = ("n", "p2o5")


class Frozen(RuleBase):
    """Not on frozen ground: at most so many hours of frost in the last 24 (0: none at all)."""

    kind: Literal["frozen"] = "frozen"
    most_h_of_24: Annotated[float, Field(ge=0, le=24)] = 0.0


class Saturated(RuleBase):
    """Not on waterlogged or flooded ground."""

    kind: Literal["saturated"] = "saturated"


class Snow(RuleBase):
    """Not on snow."""

    kind: Literal["snow"] = "snow"


class HeavyRain(RuleBase):
    """Not with heavy rain forecast within some hours. Without figures of its own, the product's apply."""

    kind: Literal["heavy-rain"] = "heavy-rain"
    within_h: Annotated[int, Field(ge=1, le=96)]
    most_mm_h: Annotated[float, Field(gt=0)] | None = None
    most_mm_24h: Annotated[float, Field(gt=0)] | None = None


class Warned(RuleBase):
    """Not under a weather warning, watch or advisory whose name holds one of these words."""

    kind: Literal["weather-warning"] = "weather-warning"
    words: Annotated[tuple[str, ...], Field(min_length=1)]

    def names(self, event: str) -> bool:
        """Whether an event ("Flood Watch") is one of these."""
        return any(word.casefold() in event.casefold() for word in self.words)


SeasonRule = SingleCap | PeriodCap | YearCap | SlowShare | Closed | Phosphorus | Water | NewTurf
WeatherRule = Frozen | Saturated | Snow | HeavyRain | Warned
Rule = Annotated[SeasonRule | WeatherRule, Field(discriminator="kind")]


class Pack(Part):
    """The rules of one place, with what a person must mind because no forecast or ledger can tell it."""

    name: str
    title: str
    authority: str
    cautions: tuple[str, ...] = ()
    rules: Annotated[tuple[Rule, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _every_rule_was_read(self) -> "Pack":
        if any(rule.seen is None for rule in self.rules):
            raise ValueError("every rule of a pack needs the date it was seen")
        return self


@cache
def pack_names() -> tuple[str, ...]:
    """Names of the packs that ship, in order."""
    folder = files("config") / "reference" / "packs"
    return tuple(sorted(item.name.removesuffix(".toml") for item in folder.iterdir() if item.name.endswith(".toml")))


@cache
def load_pack(name: str) -> Pack:
    """A shipped pack. KeyError for a name that does not ship."""
    if name not in pack_names():
        raise KeyError(name)
    text = (files("config") / "reference" / "packs" / f"{name}.toml").read_text("utf-8")
    return Pack(name=name, **tomllib.loads(text))


@cache
def rules_in_force(rules: Rules) -> tuple[SeasonRule | WeatherRule, ...]:
    """Every rule that binds an estate's user: its packs' and its own, each source telling which and when seen."""
    found: list[SeasonRule | WeatherRule] = []
    for name in rules.packs:
        for rule in load_pack(name).rules:
            if rule.who in ("all", rules.user):
                found.append(rule.model_copy(update={"source": f"{name}: {rule.source} (seen {rule.seen}; {CHECK})"}))
    return (*found, *_own(rules))


def cautions(rules: Rules) -> tuple[str, ...]:
    """What the packs ask of a person that no forecast or ledger can tell."""
    return tuple(text for name in rules.packs for text in load_pack(name).cautions)


def _own(rules: Rules) -> Iterator[SeasonRule]:
    """The estate's own rules."""
    where = "estate.toml [rules]"
    if rules.single_soluble_n_g_m2 is not None:
        source = f"{where} single_soluble_n_g_m2"
        yield SingleCap(nutrient="soluble-n", most=rules.single_soluble_n_g_m2, source=source)
    if rules.single_n_g_m2 is not None:
        yield SingleCap(nutrient="n", most=rules.single_n_g_m2, source=f"{where} single_n_g_m2")
    if rules.year_n_g_m2 is not None:
        yield YearCap(nutrient="n", most=rules.year_n_g_m2, source=f"{where} year_n_g_m2")
    if rules.year_p2o5_g_m2 is not None:
        yield YearCap(nutrient="p2o5", most=rules.year_p2o5_g_m2, source=f"{where} year_p2o5_g_m2")
    for first, last in rules.closed:
        yield Closed(**{"from": first}, to=last, source=f"{where} closed")
    if rules.water_min_m is not None:
        yield Water(least=rules.water_min_m, source=f"{where} water_min_m")
