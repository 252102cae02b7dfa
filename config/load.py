"""Loading an estate folder."""

import csv
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from config.models import Estate


def load_estate(folder: Path, environ: Mapping[str, str]) -> Estate:
    """The estate declared in a folder."""
    tables: dict[str, Any] = tomllib.loads((folder / "estate.toml").read_text("utf-8"))
    for name in ("products", "programmes"):
        path = folder / f"{name}.toml"
        if path.exists():
            tables |= tomllib.loads(path.read_text("utf-8"))
    if (folder / "lawns.csv").exists():
        with (folder / "lawns.csv").open(encoding="utf-8-sig", newline="") as file:
            rows = [{k: v for k, v in row.items() if v != ""} for row in csv.DictReader(file)]
        tables["lawns"] = [*tables.get("lawns", []), *rows]
    return Estate.model_validate(tables)
