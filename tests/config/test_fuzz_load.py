"""Whatever stands in an estate folder, loading gives an Estate or EstateInvalid, never another error."""

import copy
import random
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config.load import load_estate
from config.models import Estate
from config.problems import EstateInvalid
from tests.builders import combined, estate_table, granular, lawn, liquid, person, programme, to_toml, write_lawns

FILES = ("estate.toml", "lawns.csv", "products.toml", "programmes.toml")
FUZZ = settings(deadline=None, max_examples=300, suppress_health_check=list(HealthCheck))


def outcome(folder: Path) -> Estate | EstateInvalid:
    """What loading gives; problems must all be printable on one line and be there for a reason."""
    try:
        return load_estate(folder, {})
    except EstateInvalid as invalid:
        assert invalid.problems
        for problem in invalid.problems:
            assert str(problem).isprintable()
            assert problem.allowed
            assert len(str(problem)) < 1500
            str(problem).encode("utf-8")
        return invalid


def full_tables() -> dict[str, Any]:
    """An estate that uses nearly every key."""
    weather = {"rain_band_mm": [2, 12], "wind_m_s": [0.8, 4.4], "temperature_c": [5, 27], "delta_t_c": [2, 8]}
    inline = {"id": "top", "name": "Top", "latitude": 51.4, "longitude": -0.5, "area_m2": 40.0}
    estate = estate_table(
        feed={"order": ["open-meteo", "nws"], "contact": "a@example.org", "urls": {"open-meteo": "https://h.example"}},
        people=[person(quiet=["21:00", "05:30"], rounds=["north"])],
        rules={"packs": [], "closed": [["11-01", "02-29"]], "year_n_g_m2": 20},
        lawns=[{**inline, "sown_on": date(2026, 4, 1)}],
    )
    products = [liquid(weather=weather), granular(weather=weather), combined()]
    return {"estate.toml": estate, "products.toml": {"products": products},
            "programmes.toml": {"programmes": [programme()]}}  # fmt: skip


def write(folder: Path, tables: dict[str, Any]) -> None:
    for file, table in tables.items():
        (folder / file).write_text(to_toml(table), "utf-8", errors="replace")
    write_lawns(folder / "lawns.csv", [lawn(), lawn(id="back", notes='two\nlines, "quoted"')])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("estate")


def test_the_estate_that_is_mutated_is_valid(folder: Path) -> None:
    write(folder, full_tables())
    assert isinstance(outcome(folder), Estate)


SNIPPETS = st.sampled_from(
    [b"\x00", b"\xff", b"\xef\xbb\xbf", b'"', b'"""', b"'''", b"[", b"[[", b"]", b"{", b"}", b"=", b".", b"\n", b"\r",
     b"\\", b"\\u0000", b"\\ud800", b"#", b",", b";", b"\t", b"-", b"9" * 30, b"1e999", b"nan", b"inf", b"${", b"::",
     b"\xe2\x80\xae", b"\xc2\x85", b"0x", b"1979-05-27T07:32:00Z", b"24:00", b"true", b"//", b"@"]
)  # fmt: skip
EDITS = st.lists(
    st.tuples(
        st.floats(0, 1), st.sampled_from(["insert", "replace", "delete", "copy"]), st.binary(max_size=2) | SNIPPETS
    ),
    min_size=1,
    max_size=6,
)


def edited(data: bytes, edits: list[tuple[float, str, bytes]]) -> bytes:
    for share, what, piece in edits:
        at = int(share * len(data))
        if what == "insert":
            data = data[:at] + piece + data[at:]
        elif what == "replace":
            data = data[:at] + piece + data[at + len(piece) :]
        elif what == "delete":
            data = data[:at] + data[at + 1 + len(piece) :]
        else:
            data = data[:at] + data[at : at + 80] + data[at:]
    return data


@FUZZ
@given(st.sampled_from(FILES), EDITS)
def test_edited_bytes(folder: Path, file: str, edits: list[tuple[float, str, bytes]]) -> None:
    write(folder, full_tables())
    path = folder / file
    path.write_bytes(edited(path.read_bytes(), edits))
    outcome(folder)


@FUZZ
@given(st.sampled_from(FILES), st.binary(max_size=200))
def test_any_bytes(folder: Path, file: str, data: bytes) -> None:
    write(folder, full_tables())
    (folder / file).write_bytes(data)
    outcome(folder)


@FUZZ
@given(st.text(st.sampled_from('",;\t\n\r x1é=.-\ufeff'), max_size=120))
def test_any_sheet(folder: Path, text: str) -> None:
    write(folder, full_tables())
    head = "id,name,latitude,longitude,area_m2,notes\n"
    (folder / "lawns.csv").write_bytes((head + text).encode())
    outcome(folder)
    (folder / "lawns.csv").write_bytes(text.encode())
    outcome(folder)


ODD_VALUES = st.recursive(
    st.one_of(
        st.integers(),
        st.sampled_from([10**4000, -(10**400), 2**63, 0, -1]),
        st.floats(),
        st.booleans(),
        st.text(max_size=100),
        st.text("\u202e\u0000\u2028\x1b${}@:/.-", max_size=12),
        st.sampled_from([date(2026, 2, 28), time(7), datetime(1, 1, 1, tzinfo=UTC), date(1, 1, 1)]),
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=8), inner, max_size=3)),
    max_leaves=12,
)


def spots(value: Any) -> list[tuple[Any, Any]]:
    """Every (holder, key) inside a structure of tables and lists."""
    keys = list(value) if isinstance(value, dict) else list(range(len(value))) if isinstance(value, list) else []
    return [spot for key in keys for spot in [(value, key), *spots(value[key])]]


@FUZZ
@given(st.randoms(use_true_random=False), st.lists(ODD_VALUES, min_size=1, max_size=3))
def test_values_of_odd_kinds_and_keys_renamed(folder: Path, chance: random.Random, values: list[Any]) -> None:
    tables = copy.deepcopy(full_tables())
    for value in values:
        holder, key = chance.choice(spots(tables[chance.choice(list(tables))]))
        if isinstance(holder, dict) and chance.random() < 0.3:
            other = chance.choice([f"{key}s", str(key)[1:], str(key).upper(), "id", str(value)[:20]])
            holder[other] = holder.pop(key)
        else:
            holder[key] = value
    write(folder, {file: _plain(table) for file, table in tables.items()})
    outcome(folder)


def _plain(value: Any) -> Any:
    """Without what TOML text cannot hold: lone surrogates, and integers Python would not print."""
    if isinstance(value, dict):
        return {_plain(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_plain(inner) for inner in value]
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode("utf-8").replace("\x7f", "")
    return value


@pytest.mark.parametrize("depth", [10, 31, 33, 100, 400, 2000, 20_000])
@pytest.mark.parametrize(
    "pattern",
    ["{0}products = {1}{2}", "notes = {1}{2}", "a = {3}1{4}", "[{5}b]", "[[{5}b]]", "[{5}b]\nx = 1\n[{5}c]"],
)
def test_nesting_of_any_depth(folder: Path, pattern: str, depth: int) -> None:
    write(folder, full_tables())
    dotted = min(depth, 2000)
    text = pattern.format("", "[" * depth, "]" * depth, "{a = " * depth, "}" * depth, "k." * dotted)
    for file in ("estate.toml", "products.toml"):
        (folder / file).write_text(text)
    assert isinstance(outcome(folder), EstateInvalid)


@pytest.mark.parametrize("file", FILES)
def test_every_single_line_left_out(folder: Path, file: str) -> None:
    write(folder, full_tables())
    rows = (folder / file).read_bytes().split(b"\n")
    for number in range(len(rows)):
        (folder / file).write_bytes(b"\n".join(rows[:number] + rows[number + 1 :]))
        outcome(folder)


@pytest.mark.parametrize("file", FILES)
def test_every_file_cut_short_anywhere(folder: Path, file: str) -> None:
    write(folder, full_tables())
    whole = (folder / file).read_bytes()
    for end in range(0, len(whole), 7):
        (folder / file).write_bytes(whole[:end])
        outcome(folder)
