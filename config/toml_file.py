"""One TOML file of an estate: its table and the line of every key."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from config.files import read_text
from config.problems import Problem
from config.toml_lines import Path as KeyPath
from config.toml_lines import key_lines

MAX_DEPTH = 32  # the deepest key an estate knows is five levels down

_PLACE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")
_KEY_ON_LINE = re.compile(r"\s*\[*\s*([\w.\-\"' ]{1,80})")
_REPEATED = ("Cannot overwrite a value", "Cannot declare", "Duplicate inline table key", "Cannot redefine namespace")


@dataclass(frozen=True)
class Document:
    """A TOML file as read."""

    file: str
    table: dict[str, Any]
    lines: Mapping[KeyPath, int]


def read_toml(path: Path, problems: list[Problem]) -> Document | None:
    """Read one TOML file, or None with the reason added to `problems`."""
    text = read_text(path, problems)
    if text is None:
        return None
    try:
        table = tomllib.loads(text)
        if _depth(table) > MAX_DEPTH:
            raise RecursionError
        return Document(path.name, table, key_lines(text))
    except tomllib.TOMLDecodeError as error:
        problems.append(_syntax_problem(path.name, text, str(error)))
    except RecursionError:
        problems.append(Problem(path.name, None, "", "tables or lists nested too deeply", f"{MAX_DEPTH} levels"))
    except (ValueError, OverflowError):
        # Python refuses to read integers of thousands of digits; tomllib passes that on without a place.
        problems.append(Problem(path.name, None, "", "a number with thousands of digits", "numbers of a sensible size"))
    return None


def _syntax_problem(file: str, text: str, message: str) -> Problem:
    rows = text.split("\n")
    place = _PLACE.search(message)
    line = int(place.group(1)) if place and place.group(1) else len(rows)
    key = _KEY_ON_LINE.match(rows[min(line, len(rows)) - 1])
    field = key.group(1).strip() if key else ""
    reason = _PLACE.sub("", message)
    if reason.startswith(_REPEATED):
        return Problem(file, line, field, "the same key or table twice", "each key once in its table")
    return Problem(file, line, field, f"a line that is not valid TOML ({reason})", 'TOML, such as: name = "text"')


def _depth(table: dict[str, Any]) -> int:
    """Levels of nesting, counted without recursion since dotted keys can nest without end."""
    depth = 0
    level: list[Any] = [table]
    while level and depth <= MAX_DEPTH:
        depth += 1
        inner: list[Any] = []
        for value in level:
            if isinstance(value, dict):
                inner += value.values()
            elif isinstance(value, list):
                inner += value
        level = [value for value in inner if isinstance(value, dict | list)]
    return depth
