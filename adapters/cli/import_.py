"""`ligule import`: lawns or a history out of a spreadsheet, all or nothing, after a dry run if wanted."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

import click

from adapters.cli import as_json
from adapters.cli.context import Context, Ended, pass_context, plain_errors
from adapters.cli.decisions import JSON
from adapters.cli.import_history import Read, header_of, read_history
from adapters.cli.import_lawns import NewLawn, append_lawns, read_new_lawns
from adapters.cli.layout import wrap
from adapters.notify.letter import one_line
from adapters.store.store import Store
from config.files import read_text
from config.problems import EstateInvalid, Problem
from scheduler.values import Entry

Kind = Literal["lawns", "history"]

MOST_LISTED = 20


@click.command(name="import")
@click.argument("path", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--kind", type=click.Choice(["lawns", "history"]), help="What it holds; told by its header if left out.")
@click.option("--dry-run", is_flag=True, help="Only say what would be added.")
@JSON
@pass_context
@plain_errors
def import_command(context: Context, path: Path, kind: Kind | None, dry_run: bool, as_json_: bool) -> None:
    """Add lawns, or a history of jobs, from a spreadsheet saved as CSV.

    Either every row is good, or nothing is added and each mistake is named. What is there already is left as it is.
    """
    try:
        told = _import(context, path, kind, dry_run)
    except EstateInvalid as error:
        if as_json_:
            as_json.show({"file": path.name, "dry_run": dry_run, "added": [], "skipped": [],
                          "errors": [_error(problem) for problem in error.problems]})  # fmt: skip
        raise
    if as_json_:
        as_json.show({"file": path.name, "dry_run": dry_run, **told, "errors": []})
        return
    click.echo(_text(told, dry_run))


def _import(context: Context, path: Path, kind: Kind | None, dry_run: bool) -> dict[str, Any]:
    problems: list[Problem] = []
    content = read_text(path, problems)
    if content is None:
        raise EstateInvalid(tuple(problems))
    if (kind or _kind_of(header_of(content))) == "lawns":
        return _lawns(context, path, dry_run)
    return _history(context, path.name, content, dry_run)


def _kind_of(header: Sequence[str]) -> Kind:
    if "lawn" in header and "product" in header:
        return "history"
    if {"latitude", "longitude", "area_m2", "outline", "name"} & set(header):
        return "lawns"
    raise Ended(
        f"import: found a header of {', '.join(header[:8]) or 'nothing'}; allowed: lawns (id, name, latitude, "
        "longitude, area_m2, ...) or a history (lawn, product, at or date, ...); --kind decides"
    )


def _error(problem: Problem) -> dict[str, Any]:
    return {key: value for key, value in asdict(problem).items() if key != "line" or value is not None}


# --- lawns -------------------------------------------------------------------------------------------------------


def _lawns(context: Context, path: Path, dry_run: bool) -> dict[str, Any]:
    new, known = read_new_lawns(context, path)
    if new and not dry_run:
        append_lawns(context.folder, new)
    return {"kind": "lawns", "added": [_lawn(x) for x in new], "skipped": [_lawn(x) for x in known]}


def _lawn(found: NewLawn) -> dict[str, Any]:
    return {"row": found.row, **found.lawn.model_dump(mode="json", exclude_none=True)}


# --- history -----------------------------------------------------------------------------------------------------


def _history(context: Context, file: str, content: str, dry_run: bool) -> dict[str, Any]:
    estate, now = context.estate, context.now()
    problems: list[Problem] = []
    rows = read_history(file, content, estate, now, problems)
    if problems:
        raise EstateInvalid(tuple(problems))
    with context.store() as store:
        new, known = _told_apart(store, rows)
        if new and not dry_run:
            store.add_entries([read.entry for read in new], now)
    return {"kind": "history", "added": [_row(x) for x in new], "skipped": [_row(x) for x in known]}


def _told_apart(store: Store, rows: Sequence[Read]) -> tuple[list[Read], list[Read]]:
    """Rows to add, in the order of the ledger they came from, and rows that are there already.

    A row is the same as another if lawn, product and start are, and both stand or both were taken back. Two rows of one
    exported ledger are never the same.
    """
    there = {_key(entry) for entry in store.entries(with_undone=True)}
    new: list[Read] = []
    known: list[Read] = []
    seen: set[tuple[str, str, datetime, bool]] = set()
    for read in rows:
        key = _key(read.entry)
        (known if key in there or (key in seen and not read.of_ledger) else new).append(read)
        seen.add(key)
    return sorted(new, key=lambda read: read.entry.id), known


def _key(entry: Entry) -> tuple[str, str, datetime, bool]:
    return entry.lawn, entry.product, entry.at, entry.undone_at is not None


def _row(read: Read) -> dict[str, Any]:
    return {"row": read.row, **{key: value for key, value in as_json.entry(read.entry).items() if key != "id"}}


# --- text --------------------------------------------------------------------------------------------------------


def _text(told: dict[str, Any], dry_run: bool) -> str:
    lines = [_head(told, dry_run)]
    for key, word in (("added", "add" if dry_run else "added"), ("skipped", "there already, left as it is")):
        lines += [f"- row {row['row']}, {word}: {_name(told['kind'], row)}" for row in told[key][:MOST_LISTED]]
        if len(told[key]) > MOST_LISTED:
            lines.append(f"- and {len(told[key]) - MOST_LISTED} more")
    return wrap("\n".join(lines))


def _head(told: dict[str, Any], dry_run: bool) -> str:
    one, many = ("lawn", "lawns") if told["kind"] == "lawns" else ("row of history", "rows of history")
    counts = [f"{len(told[key])} {one if len(told[key]) == 1 else many}" for key in ("added", "skipped")]
    if dry_run:
        return f"Dry run, nothing is written. Would add {counts[0]}; there already: {counts[1]}."
    return f"Added {counts[0]}; there already: {counts[1]}."


def _name(kind: Kind, row: dict[str, Any]) -> str:
    if kind == "lawns":
        return one_line(f"{row['id']}, {row['name']}, {row['area_m2']:g} m2")
    skipped = ", skipped" if row["kind"] == "skipped" else ""
    return one_line(f"{row['lawn']}, {row['product']}, {row['at']}{skipped}")
