"""lawns.csv as spreadsheets of several countries write it."""

from pathlib import Path

import pytest

from config.load import load_estate
from config.models import Estate
from config.problems import EstateInvalid, Problem
from tests.builders import write_estate

HEADER = "id,name,latitude,longitude,area_m2,irrigation,notes"
ROW = "front,Front,51.48,-0.61,120.5,hose,gate code"


def loaded(folder: Path, text: str | bytes) -> Estate:
    write_estate(folder)
    (folder / "lawns.csv").write_bytes(text.encode() if isinstance(text, str) else text)
    return load_estate(folder, {})


def problems(folder: Path, text: str | bytes) -> list[tuple[int | None, str]]:
    with pytest.raises(EstateInvalid) as caught:
        loaded(folder, text)
    found: tuple[Problem, ...] = caught.value.problems
    assert all(problem.file == "lawns.csv" and problem.line is None for problem in found), found
    return [(problem.row, problem.field) for problem in found]


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize(
    "text",
    [
        f"{HEADER}\n{ROW}\n",
        f"{HEADER}\n{ROW}",
        f"\n,,,,,,\n{HEADER}\n\n{ROW}\n,,,,,,\n\n",
        " ID , Name ,LATITUDE,Longitude,Area_m2,irrigation,notes\nfront , Front,51.48 ,-0.61,120.5,Hose,gate code\n",
        f'"{HEADER.replace(",", chr(34) + "," + chr(34))}"\n"{ROW.replace(",", chr(34) + "," + chr(34))}"\n',
        f"{HEADER},,\n{ROW},,\n",
        f"{HEADER}\n{ROW},,,\n",
        f"{HEADER}\n{ROW}\n".replace(",", ";"),
        f"{HEADER}\n{ROW}\n".replace(",", ";").replace(".", ","),
        f"{HEADER}\n{ROW}\n".replace(",", "\t").replace(".", ","),
        f"{HEADER}\n{ROW}\n".replace("-", "\u2212"),
        f"sep=;\n{HEADER}\n{ROW}\n".replace(",", ";").replace(".", ","),
    ],
)
def test_a_sheet_reads_the_same_however_it_is_written(text: str, newline: str, mark: str, tmp_path: Path) -> None:
    (lawn,) = loaded(tmp_path, mark + text.replace("\n", newline)).lawns
    assert (lawn.id, lawn.name, lawn.notes) == ("front", "Front", "gate code")
    assert (lawn.latitude, lawn.longitude, lawn.area_m2, lawn.irrigation) == (51.48, -0.61, 120.5, "hose")


@pytest.mark.parametrize(
    ("written", "meant"),
    [("true", True), ("Yes", True), ("1", True), ("FALSE", False), ("no", False), ("0", False), ("", False)],
)
def test_yes_and_no(written: str, meant: bool, tmp_path: Path) -> None:
    estate = loaded(tmp_path, f"id,name,latitude,longitude,area_m2,hard_edges\na,A,51,0,9,{written}\n")
    assert estate.lawns[0].hard_edges is meant


def test_rows_are_named_by_the_line_they_begin_on(tmp_path: Path) -> None:
    text = f'{HEADER}\n\na,A,51,0,5,hose,"one\ntwo\nthree"\nb,B,51,0,zero,hose,"x\ny"\n\nc,C,51,0,5,tap,\n'
    assert problems(tmp_path, text) == [(6, "area_m2"), (9, "irrigation")]


def test_a_skipped_separator_line_still_counts(tmp_path: Path) -> None:
    text = f"sep=;\n{HEADER}\nfront;Front;51;0;zero;hose;\n".replace(",", ";")
    assert problems(tmp_path, text) == [(3, "area_m2")]


def test_a_missing_column_is_said_once(tmp_path: Path) -> None:
    text = "id,latitude,longitude\na,51,0\nb,51,0\nc,51,x\n"
    assert problems(tmp_path, text) == [(1, "area_m2"), (1, "name"), (4, "longitude")]


def test_measures_are_not_missing_as_columns_where_outlines_may_give_them(tmp_path: Path) -> None:
    text = "id,name,outline\na,A,\n"
    assert problems(tmp_path, text) == [(2, "area_m2"), (2, "latitude"), (2, "longitude")]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", [(None, "")]),
        ("\n\n", [(None, "")]),
        (f"{HEADER}\n", [(None, "")]),
        ('"id,name\n', [(1, "")]),
        (f"{HEADER},area_m2\n{ROW},9\n", [(1, "area_m2")]),
        (f"{HEADER},colour\n{ROW},green\n", [(1, "colour")]),
        (f"{HEADER},\n{ROW},stray\n", [(2, "")]),
        (f"{HEADER}\n{ROW},stray\n", [(2, "")]),
        (f"{HEADER}\n{ROW}\nback,Back,51\n", [(3, "")]),
        (f'{HEADER}\n{ROW}\nback,"Back,51,0,5,hose,\nx,X,51,0,5,hose,\n', [(3, "")]),
        (f'{HEADER}\n{ROW}\nback,"Back" lawn,51,0,5,hose,\n', [(3, "")]),
        (f"{HEADER}\n{ROW}\nback,Back,51,0,5,hose,{'x' * 200_000}\n", [(3, "")]),
        (f"{HEADER}\n{ROW},\n".encode("utf-16"), [(None, "")]),
        (f"{HEADER}\n{ROW},\n".encode("utf-16-le"), [(None, "")]),
    ],
)
def test_a_broken_sheet_is_named(text: str | bytes, expected: list[tuple[int | None, str]], tmp_path: Path) -> None:
    assert problems(tmp_path, text) == expected


def test_a_sheet_in_an_old_code_page_is_named_with_its_row(tmp_path: Path) -> None:
    assert problems(tmp_path, f"{HEADER}\n{ROW}\nb,Caf\u00e9,51,0,5,hose,\n".encode("cp1252")) == [(3, "")]


@pytest.mark.parametrize("number", ["1.200", "1,200", "1.200,5", "12.345.678"])
def test_an_area_with_a_possible_thousands_separator_is_not_guessed(number: str, tmp_path: Path) -> None:
    text = f"id;name;latitude;longitude;area_m2\na;A;51,5;0;{number}\n"
    assert problems(tmp_path, text) == [(2, "area_m2")]


@pytest.mark.parametrize("number", ["1_000", "inf", "NaN", "0x10", "\u0661\u0662", "1e999", "--5", "5 m2", "1e5000"])
def test_what_only_a_programmer_calls_a_number_is_refused(number: str, tmp_path: Path) -> None:
    text = f"id,name,latitude,longitude,area_m2\na,A,51.5,0,{number}\n"
    assert problems(tmp_path, text) == [(2, "area_m2")]


def test_a_row_of_the_wrong_length_still_counts_as_a_lawn(tmp_path: Path) -> None:
    write_estate(tmp_path, people=[{"id": "ines", "name": "Ines", "lawns": ["back"]}])
    (tmp_path / "lawns.csv").write_text(f"{HEADER}\nback,Back,51\n")
    with pytest.raises(EstateInvalid) as caught:
        load_estate(tmp_path, {})
    assert [problem.row for problem in caught.value.problems] == [2]


@pytest.mark.parametrize(
    "header", ["idd,name,latitude,longitude,area_m2,round", "id,name,latitude,longitude,area_m2,rund"]
)
def test_a_misspelt_column_is_the_only_mistake(header: str, tmp_path: Path) -> None:
    write_estate(tmp_path, people=[{"id": "ines", "name": "Ines", "lawns": ["a"], "rounds": ["north"]}])
    (tmp_path / "lawns.csv").write_text(f"{header}\na,A,51,0,9,north\n")
    with pytest.raises(EstateInvalid) as caught:
        load_estate(tmp_path, {})
    assert {problem.file for problem in caught.value.problems} == {"lawns.csv"}
    assert {problem.row for problem in caught.value.problems} == {1}
