"""The shipped defaults, each with its source (config/reference/defaults.toml)."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any


@dataclass(frozen=True)
class Sourced:
    """A value and where it comes from."""

    value: Any
    source: str

    @property
    def number(self) -> float:
        """The value as a number."""
        return float(self.value)


@cache
def defaults(section: str) -> dict[str, Sourced]:
    """The defaults of one section: `forecast`, `ground`, or a product form. KeyError for another name."""
    table = tomllib.loads((files("config") / "reference" / "defaults.toml").read_text("utf-8"))
    return {name: Sourced(_fixed(entry["value"]), entry["source"]) for name, entry in table[section].items()}


def _fixed(value: Any) -> Any:
    """Lists as tuples, so that limits can be compared and looked up by."""
    return tuple(value) if isinstance(value, list) else value
