"""Files that cannot be read are problems, not crashes."""

import os
from pathlib import Path

import pytest

from config import files
from config.load import load_estate
from config.problems import EstateInvalid
from tests.builders import write_estate

FILES = ("estate.toml", "lawns.csv", "products.toml", "programmes.toml")


def only_problem(folder: Path, file: str) -> str:
    with pytest.raises(EstateInvalid) as caught:
        load_estate(folder, {})
    assert [problem.file for problem in caught.value.problems] == [file], caught.value.problems
    return caught.value.problems[0].found


def replaced(folder: Path, file: str) -> Path:
    write_estate(folder)
    (folder / file).unlink()
    return folder / file


@pytest.mark.parametrize("file", FILES)
def test_a_folder_in_place_of_a_file(file: str, tmp_path: Path) -> None:
    replaced(tmp_path, file).mkdir()
    assert only_problem(tmp_path, file)


@pytest.mark.parametrize("file", FILES)
def test_a_link_that_leads_round_in_a_circle(file: str, tmp_path: Path) -> None:
    replaced(tmp_path, file).symlink_to(file)
    assert only_problem(tmp_path, file)


@pytest.mark.parametrize("file", FILES)
def test_a_link_that_leads_nowhere(file: str, tmp_path: Path) -> None:
    replaced(tmp_path, file).symlink_to("nowhere")
    assert only_problem(tmp_path, file)


@pytest.mark.parametrize("file", FILES)
def test_a_pipe_is_not_waited_for(file: str, tmp_path: Path) -> None:
    os.mkfifo(replaced(tmp_path, file))
    assert only_problem(tmp_path, file)


@pytest.mark.parametrize("file", FILES)
def test_a_file_whose_reading_fails(file: str, tmp_path: Path) -> None:
    # A process's memory is a plain file to look at, but reading its first page fails, for every user.
    replaced(tmp_path, file).symlink_to("/proc/self/mem")
    assert only_problem(tmp_path, file)


@pytest.mark.parametrize("file", FILES)
def test_a_file_too_large_to_be_an_estate(file: str, tmp_path: Path) -> None:
    with replaced(tmp_path, file).open("wb") as large:
        large.truncate(files.MAX_BYTES + 1)
    assert "20 MB" in only_problem(tmp_path, file)


def test_a_folder_that_is_a_link_in_a_circle(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to("loop")
    assert only_problem(tmp_path / "loop", str(tmp_path / "loop"))
