"""Every key of a TOML text is found on the line where it stands (TOML 1.0.0)."""

import json
import re
import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.toml_lines import key_lines
from tests.builders import estate_table, liquid, programme, to_toml

TEXT = '''# a comment with [brackets] and "quotes"
name = "Sedge # not a comment"
note = """
[not.a.table]
key = 1 \\" still inside """"
path = 'C:\\'  # a literal string
other = \'\'\'
also = "text"
\'\'\'
feed.urls."open-meteo" = "https://example.org"
feed.contact = "x"
hours = { start = "07:00", days = ["mon", "tue"], "end" = "18:00" }
closed = [
  ["11-01", "12-31"],  # winter ] }
  [
    "01-01",
    "02-28",
  ],
]

[[products]]
id = "a"

  [products.weather]
  wind_m_s = [1, 2]

[[products]]
id = "b"
[products.label]
cautions = ["x",
  "y"]
[[ products ]]
"id" = "c"
[ products . "weather" ]
leaf = "dry"

[[programmes]]
[[programmes.steps]]
product = "a"
[[programmes.steps]]
product = "b"
'''


def line_of(marker: str) -> int:
    return next(number for number, row in enumerate(TEXT.split("\n"), 1) if marker in row)


@pytest.mark.parametrize(
    ("path", "marker"),
    [
        (("name",), "name ="),
        (("note",), "note ="),
        (("path",), "path ="),
        (("other",), "other ="),
        (("feed",), "feed.urls"),
        (("feed", "urls", "open-meteo"), "feed.urls"),
        (("feed", "contact"), "feed.contact"),
        (("hours", "start"), "hours ="),
        (("hours", "days", 1), "hours ="),
        (("hours", "end"), "hours ="),
        (("closed", 0, 1), '"11-01"'),
        (("closed", 1, 1), '"02-28"'),
        (("products", 0, "weather", "wind_m_s", 1), "wind_m_s"),
        (("products", 1, "id"), 'id = "b"'),
        (("products", 1, "label", "cautions", 1), '"y"]'),
        (("products", 2), "[[ products ]]"),
        (("products", 2, "id"), '"id" = "c"'),
        (("products", 2, "weather", "leaf"), "leaf ="),
        (("programmes", 0, "steps", 1, "product"), 'product = "b"'),
    ],
)
def test_a_path_is_found_on_its_line(path: tuple[str | int, ...], marker: str) -> None:
    assert key_lines(TEXT)[path] == line_of(marker)


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_every_path_of_the_text_has_a_line(newline: str) -> None:
    assert set(key_lines(TEXT.replace("\n", newline))) == set(paths(tomllib.loads(TEXT)))


def test_the_builders_estate_has_a_line_for_every_path() -> None:
    for table in (estate_table(), {"products": [liquid(), liquid()]}, {"programmes": [programme(), programme()]}):
        assert set(key_lines(to_toml(table))) == set(paths(table))


def paths(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    inner = list(value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ())
    return [found for key, entry in inner for found in [(*path, key), *paths(entry, (*path, key))]]


KEYS = st.text(st.sampled_from("ab-_.\"'#[]={} é\n"), min_size=1, max_size=4)
PLAIN = st.one_of(
    st.integers(-9, 9),
    st.booleans(),
    st.floats(-9, 9),
    st.dates(),
    st.text(st.sampled_from("a\"'#[]{}=,\\\n\t "), max_size=6),
)
VALUES = st.recursive(PLAIN, lambda inner: st.lists(inner, max_size=3), max_leaves=5)
TABLES = st.recursive(
    st.dictionaries(KEYS, VALUES, max_size=4),
    lambda inner: st.dictionaries(KEYS, st.one_of(VALUES, inner, st.lists(inner, min_size=1, max_size=3)), max_size=4),
    max_leaves=8,
)
BARE = re.compile(r"[A-Za-z0-9_-]+")


def written(table: dict[str, Any], data: st.DataObject, path: tuple[str, ...] = ()) -> str:
    """The table as TOML, each value in one of the forms the standard allows, drawn at random."""
    lines, later = [], []
    for key, value in table.items():
        name = key_text(key, data)
        is_table, is_tables = isinstance(value, dict), isinstance(value, list) and value and isinstance(value[0], dict)
        if (is_table or is_tables) and data.draw(st.booleans()):
            header = ".".join(key_text(part, data) for part in (*path, key))
            marks = "[{}]" if is_table else "[[ {} ]]"
            for member in [value] if is_table else value:
                later += ["# next", marks.format(header), written(member, data, (*path, key))]
        else:
            lines.append(f"{name} = {value_text(value, data)}  # {name!r}")
    return "\n".join([*lines, *later])


def key_text(key: str, data: st.DataObject) -> str:
    forms = [json.dumps(key)]
    if BARE.fullmatch(key):
        forms.append(key)
    if "'" not in key and "\n" not in key:
        forms.append(f"'{key}'")
    return data.draw(st.sampled_from(forms))


def value_text(value: Any, data: st.DataObject) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key_text(k, data)} = {value_text(v, data)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        gap = data.draw(st.sampled_from(["", " ", "\n  ", " # ], [\n"]))
        return "[" + gap + "".join(f"{value_text(entry, data)},{gap}" for entry in value) + "]"
    if isinstance(value, str):
        forms = [json.dumps(value), '"""\n' + value.replace("\\", "\\\\").replace('"', '\\"') + '"""']
        if "'''" not in value:
            forms.append(f"'''\n{value}'''")
        return data.draw(st.sampled_from(forms))
    return str(value)


@settings(deadline=None, max_examples=400)
@given(TABLES, st.data())
def test_any_toml_the_parser_accepts_has_a_line_for_every_path(table: dict[str, Any], data: st.DataObject) -> None:
    text = written(table, data)
    parsed = tomllib.loads(text)
    lines = key_lines(text)
    assert set(lines) == set(paths(parsed))
    rows = text.split("\n")
    for path, line in lines.items():
        if isinstance(path[-1], str) and BARE.fullmatch(path[-1]):
            assert path[-1] in rows[line - 1]
