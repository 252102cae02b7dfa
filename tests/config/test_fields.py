"""Every field of every model refuses a value of another kind, in its place and in plain words."""

from datetime import date, time
from typing import Any

import pytest

from config.models import (
    Estate,
    Feed,
    Hours,
    Lawn,
    Part,
    Person,
    Product,
    ProductLabel,
    ProductWeather,
    Programme,
    Risk,
    Rules,
    Step,
)
from config.parts import Source, build, fields_of
from config.problems import Problem

MODELS: tuple[type[Part], ...] = (
    Estate,
    Feed,
    Hours,
    Lawn,
    Person,
    Product,
    ProductLabel,
    ProductWeather,
    Programme,
    Risk,
    Rules,
    Step,
)
NEEDED: dict[type[Part], dict[str, Any]] = {
    Estate: {"name": "A"},
    Person: {"id": "a", "name": "A"},
    Lawn: {"id": "a", "name": "A", "latitude": 51.0, "longitude": 0, "area_m2": 5},
    Product: {"id": "a", "name": "A", "form": "liquid"},
    Programme: {"id": "a", "steps": [{"product": "a", "from": "01-01", "to": "01-02"}]},
    Step: {"product": "a", "from": "01-01", "to": "01-02"},
}
FIELDS = [(model, name) for model in MODELS for name in fields_of(model)]
# No field takes any of these: a list of tables without keys, a day and time at once, a table with a strange key.
ODD = ([{}], [[[[]]]], {"\x00": 1}, float("inf"), 10**30)
JARGON = ("input should", "pydantic", "tuple", "str", "literal", "type=", "field required", "none", "nonetype")


def found(model: type[Part], name: str, value: Any) -> list[Problem]:
    problems: list[Problem] = []
    build(model, {**NEEDED.get(model, {}), name: value}, Source("x.toml", {(): 1}), problems)
    return problems


@pytest.mark.parametrize("value", ODD, ids=str)
@pytest.mark.parametrize(("model", "name"), FIELDS, ids=lambda x: getattr(x, "__name__", x))
def test_a_value_of_another_kind_is_refused_in_its_field(model: type[Part], name: str, value: Any) -> None:
    problems = found(model, name, value)
    assert problems
    for problem in problems:
        assert problem.field.split(".")[0].split("[")[0] == name
        words = f" {problem.found} {problem.allowed} ".lower().replace('"none"', "")
        assert not any(f" {word} " in words for word in JARGON)
        assert str(problem).count("\n") == 0


@pytest.mark.parametrize(("model", "name"), FIELDS, ids=lambda x: getattr(x, "__name__", x))
def test_what_is_left_of_a_table_with_a_mistake_can_still_be_read(model: type[Part], name: str) -> None:
    item = build(model, {**NEEDED.get(model, {}), name: [[[[]]]]}, Source("x.toml"), [])
    assert isinstance(item.part, model)
    assert not item.sound(name)
    others = [other for other in fields_of(model) if other != name]
    assert all(item.sound(other) for other in others)


@pytest.mark.parametrize("value", ["true", "yes", 1, 0, "", 1.0])
def test_only_true_and_false_are_yes_and_no_in_toml(value: Any) -> None:
    assert [x.field for x in found(Lawn, "hard_edges", value)] == ["hard_edges"]


@pytest.mark.parametrize("value", [True, "5", "", [5], date(2026, 4, 1), time(5)])
def test_only_numbers_are_numbers(value: Any) -> None:
    assert [x.field.partition("[")[0] for x in found(Lawn, "area_m2", value)] == ["area_m2"]
    assert [x.field.partition("[")[0] for x in found(Product, "most_per_year", value)] == ["most_per_year"]


@pytest.mark.parametrize("value", [600, 6.5, "6:30", "06:30:00", "06:60", "24:00", "", "\u0660\u0666:30"])
def test_only_hours_and_minutes_are_times(value: Any) -> None:
    assert [x.field for x in found(Person, "brief_at", value)] == ["brief_at"]


@pytest.mark.parametrize("value", [20260401, "20260401", "2026-4-1", "2026-W14-3", "2026-02-30", 0, "2026-04-01T00:00"])
def test_only_calendar_dates_are_dates(value: Any) -> None:
    assert [x.field for x in found(Lawn, "sown_on", value)] == ["sown_on"]


@pytest.mark.parametrize("text", ["a\x00b", "a\x1bb", "a\x7fb", "a\u0085b", "a\u202ab", "a\u202eb", "a\u2066b", "a\nb"])
@pytest.mark.parametrize(("model", "name"), [(Lawn, "name"), (Lawn, "round"), (Lawn, "client"), (Programme, "name")])
def test_no_hidden_character_gets_into_a_name(model: type[Part], name: str, text: str) -> None:
    (problem,) = found(model, name, text)
    assert problem.field == name
    assert f"{ord(text[1]):04X}" in problem.found
