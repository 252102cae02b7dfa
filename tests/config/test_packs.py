"""Shipped rule packs: complete, sourced, in the right units, bound to the right user."""

from importlib.resources import files

import pytest
from pydantic import ValidationError
from pytest import approx

from config import packs
from config.models import Rules
from scheduler.agronomy import units

NAMES = [
    "england",
    "florida-marion",
    "florida-neptune-beach",
    "florida-orange",
    "maryland",
    "minnesota",
    "new-jersey",
    "new-york",
    "virginia",
]


def test_the_packs_that_ship():
    assert list(packs.pack_names()) == NAMES
    with pytest.raises(KeyError):
        packs.load_pack("atlantis")


@pytest.mark.parametrize("name", NAMES)
def test_every_rule_tells_its_source_and_when_it_was_seen(name):
    pack = packs.load_pack(name)
    assert all(len(rule.source) > 8 and rule.seen == "2026-11" for rule in pack.rules)
    for rule in packs.rules_in_force(Rules(packs=(name,))):
        assert rule.source.startswith(f"{name}: ")
        assert "2026-11" in rule.source
        assert "check with your authority" in rule.source
    text = (files("config") / "reference" / "packs" / f"{name}.toml").read_text("utf-8")
    assert "check with your authority" in text.splitlines()[0]


def test_units_of_the_law_become_si():
    # NIST SP 811: the same factors as the core's
    assert approx(units.G_M2_PER_LB_1000FT2, rel=1e-12) == packs.G_M2_PER_LB_1000FT2
    # Md. Code, Agriculture 6-224: 0.9 lb N per 1000 ft2 = 4.394 g/m2; 8-803.5: 15 ft = 4.57 m
    maryland = packs.load_pack("maryland").rules
    caps = {r.nutrient: r.grams(r.most) for r in maryland if isinstance(r, packs.SingleCap) and r.from_ is None}
    assert caps == approx({"soluble-n": 3.4177, "n": 4.3942}, abs=5e-5)
    assert [r.least_m for r in maryland if isinstance(r, packs.Water)] == approx([4.572])


def test_ordinary_and_professional_users_are_bound_by_different_rules():
    def closed(user):
        rules = packs.rules_in_force(Rules(packs=("maryland",), user=user))
        return {(r.from_, r.to, r.nutrients) for r in rules if isinstance(r, packs.Closed)}

    assert closed("ordinary") == {("11-16", "02-29", ("n", "p2o5"))}
    assert closed("professional") == {("12-02", "02-29", ("n", "p2o5")), ("11-16", "12-01", ("p2o5",))}


def test_own_rules_stand_beside_the_packs():
    rules = Rules(
        packs=("new-york",),
        single_n_g_m2=3,
        single_soluble_n_g_m2=2,
        year_n_g_m2=20,
        year_p2o5_g_m2=1,
        closed=(("07-01", "08-15"),),
        water_min_m=5,
    )
    own = [r for r in packs.rules_in_force(rules) if r.source.startswith("estate.toml")]
    assert [r.kind for r in own] == ["single-cap", "single-cap", "year-cap", "year-cap", "closed", "water"]
    assert len(packs.rules_in_force(rules)) == len(own) + len(packs.load_pack("new-york").rules)
    assert packs.rules_in_force(Rules()) == ()


def test_cautions_name_what_no_forecast_can_tell():
    assert any("paving" in text for text in packs.cautions(Rules(packs=("maryland",))))
    assert packs.cautions(Rules()) == ()


def test_a_pack_without_dates_seen_or_with_unknown_keys_is_refused():
    rule = {"kind": "saturated", "source": "an invented byelaw"}
    pack = {"name": "x", "title": "X", "authority": "X"}
    with pytest.raises(ValidationError, match="date it was seen"):
        packs.Pack(**pack, rules=[rule])
    with pytest.raises(ValidationError):
        packs.Pack(**pack, rules=[rule | {"seen": "2026-11", "colour": "green"}])
    with pytest.raises(ValidationError):
        packs.Pack(**pack, rules=[rule | {"seen": "last year"}])
    assert packs.Pack(**pack, rules=[rule | {"seen": "2026-11"}]).rules[0].kind == "saturated"
