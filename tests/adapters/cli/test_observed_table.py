"""Tables of times and numbers: what is understood, and that every mistake is named by row and field."""

import gzip
import math
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters.cli.observed_table import MOST_PROBLEMS, Column, Table, read_table
from config.problems import EstateInvalid, Problem

PIECES = st.sampled_from(
    ["time", "rain_mm", ",", ";", "\n", '"', "2026-05-01T00:00", "0.1", "\0", "-1", " ", "+01:00", "\r"]
)
COLUMNS = [Column("rain_mm", 0, 410, required=True), Column("wind_m_s", 0, 120)]


def write(folder: Path, text: str | bytes, name: str = "hours.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def read(path: Path) -> Table:
    return read_table(path, "time", COLUMNS, lambda _: None)


def plain(text: str) -> datetime:
    """A time without offset."""
    return datetime.fromisoformat(text)


def problems(path: Path) -> tuple[Problem, ...]:
    with pytest.raises(EstateInvalid) as caught:
        read(path)
    return caught.value.problems


@pytest.mark.parametrize(
    "text",
    [
        "time,rain_mm,wind_m_s\n2026-05-01T00:00,0.5,2\n2026-05-01T01:00,,3\n",
        "\ufefftime;rain_mm;wind_m_s;station\r\n2026-05-01 00:00;0,5;2;north\r\n\r\n2026-05-01 01:00;NA;3;north\r\n",
        "TIME\tRain_mm\tWind_m_s\n2026-05-01T00:00\t5e-1\t2.0\n2026-05-01T01:00\tnan\t3",
        'time,rain_mm,wind_m_s\n"2026-05-01T00:00","0.5","2"\n2026-05-01T01:00,-,3\n',
    ],
)
def test_common_spellings_are_one_table(tmp_path: Path, text: str) -> None:
    for path in (write(tmp_path, text), write(tmp_path, gzip.compress(text.encode()), "hours.csv.gz")):
        table = read(path)
        assert table.times == [plain("2026-05-01T00:00"), plain("2026-05-01T01:00")]
        assert table.offset_s is None
        assert table.columns["rain_mm"][0] == 0.5 and math.isnan(table.columns["rain_mm"][1])
        assert list(table.columns["wind_m_s"]) == [2, 3]
        assert set(table.columns) == {"rain_mm", "wind_m_s"}


def test_offsets_become_utc_and_the_first_is_kept(tmp_path: Path) -> None:
    table = read(write(tmp_path, "time,rain_mm\n2026-03-29T00:00+01:00,0\n2026-03-29T03:00+02:00,0\n"))
    assert table.times == [plain("2026-03-28T23:00"), plain("2026-03-29T01:00")]
    assert table.offset_s == 3600


@pytest.mark.parametrize(
    ("row", "line", "field"),
    [
        ("2026-05-01T01:00,-0.1", 3, "rain_mm"),
        ("2026-05-01T01:00,411", 3, "rain_mm"),
        ("2026-05-01T01:00,1e400", 3, "rain_mm"),
        ("2026-05-01T01:00,inf", 3, "rain_mm"),
        ("2026-05-01T01:00,wet", 3, "rain_mm"),
        ("2026-05-01T01:00,1_0", 3, "rain_mm"),
        ("first of May,0.1", 3, "time"),
        (",0.1", 3, "time"),
        ("2026-05-01T01:00Z,0.1", 3, "time"),
        ("2026-05-01T01:00,0,1", 3, ""),
        ("2026-05-01T01:00", 3, ""),
    ],
)
def test_a_wrong_row_is_named(tmp_path: Path, row: str, line: int, field: str) -> None:
    path = write(tmp_path, f"time,rain_mm\n2026-05-01T00:00,0\n{row}\n")
    (problem,) = problems(path)
    assert (problem.file, problem.row, problem.field) == ("hours.csv", line, field)
    assert problem.found and problem.allowed


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "time"),
        ("time,rain_mm\n", "no row"),
        ("when,rain_mm\n2026-05-01T00:00,0\n", "no such column"),
        ("time,rain\n2026-05-01T00:00,0\n", "no such column"),
        ("time,rain_mm,rain_mm\n2026-05-01T00:00,0,1\n", "twice"),
        (b"time,rain_mm\n2026-05-01T00:00,\xff\n", "UTF-8"),
        (gzip.compress(b"time,rain_mm\n")[:-9], "end"),
    ],
)
def test_a_file_that_is_no_table_is_refused(tmp_path: Path, text: str | bytes, word: str) -> None:
    (problem,) = problems(write(tmp_path, text))
    assert word in str(problem)


def test_what_is_not_a_file_is_refused(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "absent.csv", tmp_path / "a\0b"):
        (problem,) = problems(path)
        assert problem.allowed


def test_many_mistakes_are_told_together_but_not_without_end(tmp_path: Path) -> None:
    rows = "".join(f"2026-05-{day:02}T00:00,wet\n" for day in range(1, 30))
    found = problems(write(tmp_path, "time,rain_mm\n" + rows))
    assert len(found) == MOST_PROBLEMS
    assert [problem.row for problem in found] == list(range(2, 2 + MOST_PROBLEMS))


def test_a_file_that_unpacks_without_end_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("adapters.cli.observed_table.MAX_BYTES", 10_000)
    (problem,) = problems(write(tmp_path, gzip.compress(b"time,rain_mm\n" + b"x" * 100_000)))
    assert "more than" in problem.found


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.one_of(st.text(max_size=200), st.binary(max_size=200), st.lists(PIECES, max_size=40).map("".join)))
def test_no_content_ends_in_anything_but_a_table_or_named_mistakes(tmp_path: Path, content: str | bytes) -> None:
    path = write(tmp_path, content.encode("utf-8", "surrogatepass") if isinstance(content, str) else content)
    try:
        table = read(path)
    except EstateInvalid as error:
        assert error.problems
    else:
        assert len(table.times) == len(table.columns["rain_mm"]) > 0
        assert not (table.columns["rain_mm"] < 0).any()
