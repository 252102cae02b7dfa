"""A plain judge of what was applied, written apart from the program: rule packs as raw TOML, own arithmetic.

`breaches` judges one application beside all that went before it, and says what it breaks in words.
"""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from importlib.resources import files
from typing import Any

from config.models import Lawn, Product

LB_1000FT2 = 4.88243  # g/m2: NIST SP 811, facts of the pound and the foot
FT = 0.3048
SLACK = 1 + 1e-5


@dataclass(frozen=True)
class Applied:
    """A product on a day at a rate (ml or g per m2)."""

    day: date
    product: Product
    rate: float

    def grams(self, what: str) -> float:
        """N, soluble N or P2O5 [g/m2] by the label: % w/w of the mass, or of mass = volume x density."""
        n, p2o5, k2o = (float(x) for x in self.product.analysis.split("-"))
        mass = self.rate
        if self.product.form == "liquid" and self.product.basis == "w/w":
            mass *= self.product.density_kg_l or float("nan")
        slow = n * self.product.slow_n_pct / 100
        percent = {"n": n, "soluble-n": n - slow, "p2o5": p2o5, "k2o": k2o}[what]
        return mass * percent / 100


def pack(name: str) -> list[dict[str, Any]]:
    """The rules of a shipped pack, as written."""
    text = (files("config") / "reference" / "packs" / f"{name}.toml").read_text("utf-8")
    rules: list[dict[str, Any]] = tomllib.loads(text)["rules"]
    return rules


def breaches(packs: Sequence[str], lawn: Lawn, new: Applied, before: Sequence[Applied]) -> list[str]:
    """What one application of an ordinary user breaks beside those before it."""
    found = []
    for name in packs:
        for rule in pack(name):
            if rule.get("who", "all") != "professional" and _broken(rule, lawn, new, before):
                found.append(f"{name} {rule['kind']} on {new.day} by {new.product.id}")
    same = [one for one in before if one.product.id == new.product.id]
    most = new.product.most_per_year
    if most is not None and sum(one.day.year == new.day.year for one in same) >= most:
        found.append(f"yearly maximum of {new.product.id} on {new.day}")
    least = new.product.every_days[0] if new.product.every_days else 0
    if any((new.day - one.day).days < least for one in same):
        found.append(f"interval of {new.product.id} on {new.day}")
    gap, sown = new.product.label.sowing_gap_days, lawn.sown_on
    if sown is not None and 0 <= (new.day - sown).days < gap:
        found.append(f"sowing gap of {new.product.id} on {new.day}")
    return found


def _unit(rule: dict[str, Any]) -> float:
    return LB_1000FT2 if rule.get("unit") == "lb/1000 ft2" else 1.0


def _broken(rule: dict[str, Any], lawn: Lawn, new: Applied, before: Sequence[Applied]) -> bool:
    kind = rule["kind"]
    if kind in ("single-cap", "period-cap", "year-cap"):
        return _over_cap(rule, lawn, new, before)
    if kind == "closed":
        fed = any(new.grams(what) > 0 for what in rule["nutrients"]) if "nutrients" in rule else True
        return fed and _inside(rule["from"], rule["to"], new.day)
    if kind == "slow-share" and new.grams("n") > 0:
        share = 100 * (1 - new.grams("soluble-n") / new.grams("n"))
        few = new.grams("soluble-n") <= rule.get("unless_soluble_most", 0) * _unit(rule) * SLACK
        return share < rule["least_pct"] - 1e-6 and not few
    if kind == "phosphorus" and new.grams("p2o5") > 0:
        percent = float(new.product.analysis.split("-")[1])
        return percent > rule.get("trigger_p2o5_pct", 0) and not _asked_for(rule, lawn, new.day)
    if kind == "water":
        least = rule["least"] * (FT if rule.get("unit") == "ft" else 1.0)
        return lawn.water_within_m is not None and lawn.water_within_m * SLACK < least
    if kind == "new-turf" and lawn.sown_on is not None:
        age = (new.day - lawn.sown_on).days
        fed = any(new.grams(what) > 0 for what in rule.get("nutrients", ["n", "p2o5"]))
        return fed and -rule.get("days_before", 0) <= age < rule["days_after"]
    return False  # weather: nothing a calendar could tell


def _over_cap(rule: dict[str, Any], lawn: Lawn, new: Applied, before: Sequence[Applied]) -> bool:
    what = rule["nutrient"]
    if new.grams(what) <= 0:
        return False
    most = rule["most"]
    if rule["kind"] == "year-cap":
        most = rule.get("species", {}).get(lawn.species, most)
        counted = [one for one in before if one.day.year == new.day.year]
    elif rule["kind"] == "period-cap":
        counted = [one for one in before if new.day - one.day < timedelta(days=rule["days"])]
    else:
        if "from" in rule and not _inside(rule["from"], rule["to"], new.day):
            return False
        counted = [one for one in before if one.day == new.day]
    if "new_turf_most" in rule and lawn.sown_on and 0 <= (new.day - lawn.sown_on).days <= rule["new_turf_days"]:
        most = max(most, rule["new_turf_most"])
    return sum(one.grams(what) for one in [*counted, new]) > most * _unit(rule) * SLACK


def _inside(first: str, last: str, day: date) -> bool:
    text = day.strftime("%m-%d")
    return first <= text <= last if first <= last else (text >= first or text <= last)


def _asked_for(rule: dict[str, Any], lawn: Lawn, day: date) -> bool:
    if lawn.sown_on is not None and 0 <= (day - lawn.sown_on).days <= rule.get("first_season_days", 365):
        return True
    if lawn.soil_test_on is None or lawn.soil_test_p not in ("low", "medium"):
        return False
    return timedelta(0) <= day - lawn.soil_test_on <= timedelta(days=rule["test_years"] * 365.25 + 1)
