"""The rules of the house, as tests: arrows only downward, a core that touches nothing outside, small modules."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
FLOORS = ("config", "scheduler", "adapters")
OUTSIDE = {"requests", "sqlalchemy", "alembic", "apprise", "apscheduler", "click", "socket", "http", "smtplib",
           "subprocess", "threading", "os", "io", "pathlib", "urllib", "urllib3", "shutil", "tempfile", "random",
           "sqlite3", "logging", "time"}  # fmt: skip
CLOCKS = {"now", "utcnow", "today", "time"}


def modules(floor: str) -> list[Path]:
    """The Python files of a floor."""
    return sorted((ROOT / floor).rglob("*.py"))


def imported(path: Path) -> set[str]:
    """First names of everything a module imports."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide the floor"
            names.add((node.module or "").split(".")[0])
    return names


@pytest.mark.parametrize("floor", FLOORS)
def test_no_floor_imports_one_above_it(floor: str) -> None:
    above = set(FLOORS[FLOORS.index(floor) + 1 :])
    wrong = {str(path.relative_to(ROOT)): imported(path) & above for path in modules(floor)}
    assert modules(floor)
    assert not {path: names for path, names in wrong.items() if names}


def test_the_core_imports_nothing_that_reaches_outside() -> None:
    wrong = {str(path.relative_to(ROOT)): imported(path) & OUTSIDE for path in modules("scheduler")}
    assert not {path: names for path, names in wrong.items() if names}


def test_the_core_opens_nothing_and_never_asks_the_time() -> None:
    wrong = []
    for path in modules("scheduler"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            called = node.func
            if isinstance(called, ast.Name) and called.id in ("open", "input", "print"):
                wrong.append((path.name, called.id))
            if (
                isinstance(called, ast.Attribute)
                and called.attr in CLOCKS
                and isinstance(called.value, ast.Name)
                and (called.value.id in ("datetime", "date", "time"))
            ):
                wrong.append((path.name, called.attr))
    assert not wrong


def test_only_one_module_reads_the_wall_clock() -> None:
    readers = set()
    for floor in FLOORS:
        for path in modules(floor):
            text = path.read_text("utf-8")
            if "datetime.now(" in text or "time.time(" in text or "utcnow(" in text or "date.today(" in text:
                readers.add(str(path.relative_to(ROOT)))
    assert readers == {"adapters/clock.py"}


def test_modules_stay_small_enough_to_hold_in_the_head() -> None:
    long = {str(path.relative_to(ROOT)): count for floor in FLOORS for path in modules(floor)
            if (count := len(path.read_text("utf-8").splitlines())) > 400}  # fmt: skip
    assert not long
