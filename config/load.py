"""Loading an estate folder: all files are read, every mistake is collected, and only a faultless estate comes out."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from config.check import check
from config.draft import Draft, Season
from config.lawns import read_lawn_items
from config.models import Estate, Feed, Hours, Person, Product, Programme, Risk, Rules, Step
from config.parts import Item, M, Source, build, fields_of
from config.problems import EstateInvalid, Problem
from config.toml_file import Document, read_toml
from config.wording import found_text, key_text, known_text

_SECTIONS = ("feed", "hours", "risk", "rules")
_LISTS = ("people", "lawns")
_OTHER_FILES = {"products": "products.toml", "programmes": "programmes.toml"}


def load_estate(folder: Path, environ: Mapping[str, str]) -> Estate:
    """Load and check the estate in `folder`.

    Secrets stay names: no `${NAME}` is filled in. `environ` is read for LIGULE_ALLOW_LOCAL only.
    Raises EstateInvalid with every mistake found in all files.
    """
    problems: list[Problem] = []
    draft = read_draft(folder, problems)
    if draft is not None:
        problems += check(draft, environ)
    if draft is None or problems:
        raise EstateInvalid(tuple(problems))
    return draft.estate()


def read_draft(folder: Path, problems: list[Problem]) -> Draft | None:
    """Read all files of an estate; None if there is no estate there. Mistakes are added to `problems`."""
    if missing := _no_estate(folder):
        problems.append(missing)
        return None
    estate = read_toml(folder / "estate.toml", problems)
    draft = _draft(estate, problems)
    if estate is None:
        draft.unread |= {"lawns", "people"}
    else:
        draft.people = [build(Person, *entry, problems) for entry in _entries(estate, "people", problems)]
    entries = _entries(estate, "lawns", problems) if estate else []
    draft.lawns, all_ids = read_lawn_items(folder, entries, problems, other_file_read=estate is not None)
    if not all_ids:
        draft.unread.add("lawns")
    for kind, file in _OTHER_FILES.items():
        document = _optional(folder / file, kind, problems, draft)
        entries = _entries(document, kind, problems) if document else []
        if kind == "products":
            draft.products = [build(Product, *entry, problems) for entry in entries]
        else:
            draft.programmes = [_season(*entry, problems) for entry in entries]
    return draft


def _no_estate(folder: Path) -> Problem | None:
    """The one problem of a folder that holds no estate at all."""
    shown = key_text(str(folder), 400)
    try:
        if not folder.is_dir():
            return Problem(shown, None, "", "no such folder", "an estate folder, with an estate.toml in it")
        if not (folder / "estate.toml").exists() and not (folder / "estate.toml").is_symlink():
            return Problem("estate.toml", None, "", f"no such file in {shown}", "an estate folder has an estate.toml")
    except (OSError, ValueError):
        return Problem(shown, None, "", "a folder that cannot be read", "an estate folder")
    return None


def _draft(document: Document | None, problems: list[Problem]) -> Draft:
    """The head and the sections of estate.toml."""
    if document is None:
        return Draft(_unknown(Estate), _unknown(Feed), _unknown(Hours), _unknown(Risk), _unknown(Rules))
    known = [key for key in fields_of(Estate) if key not in _OTHER_FILES]
    _refuse_unknown(document, known, problems)
    table = document.table
    head = {key: table[key] for key in known if key in table and key not in (*_SECTIONS, *_LISTS)}
    source = Source(document.file, document.lines)

    def section(model: type[M], key: str) -> Item[M]:
        return build(model, table.get(key, {}), Source(document.file, document.lines, (key,), key), problems)

    return Draft(
        build(Estate, head, source, problems),
        section(Feed, "feed"),
        section(Hours, "hours"),
        section(Risk, "risk"),
        section(Rules, "rules"),
    )


def _unknown(model: type[M]) -> Item[M]:
    """The item of a file that could not be read: nothing in it is sound, and nothing more is said about it."""
    return build(model, {}, Source("estate.toml"), [], frozenset({(name,) for name in fields_of(model)}))


def _optional(path: Path, kind: str, problems: list[Problem], draft: Draft) -> Document | None:
    """A file that may be absent; its top level holds nothing but `kind`."""
    if not path.exists() and not path.is_symlink():
        return None
    document = read_toml(path, problems)
    # A misspelt table name hides what was meant to be in it.
    if document is None or _refuse_unknown(document, [kind], problems):
        draft.unread.add(kind)
    return document


def _refuse_unknown(document: Document, known: list[str], problems: list[Problem]) -> bool:
    """Report the unknown keys at the top of a file; True if there are any."""
    source = Source(document.file, document.lines)
    for key in document.table:
        if key not in known:
            other = _OTHER_FILES.get(key)
            allowed = f"this table in {other}" if other else known_text(key, known, "a known key")
            problems.append(source.problem((key,), "an unknown key", allowed))
    return any(key not in known for key in document.table)


def _entries(document: Document, key: str, problems: list[Problem]) -> list[tuple[Any, Source]]:
    """The tables of `[[key]]`, each with its place."""
    value = document.table.get(key, [])
    if not isinstance(value, list):
        source = Source(document.file, document.lines)
        problems.append(source.problem((key,), found_text(value), f"tables that begin with [[{key}]]"))
        return []
    return [
        (entry, Source(document.file, document.lines, (key, number), f"{key}[{_handle(entry, number)}]"))
        for number, entry in enumerate(value)
    ]


def _handle(entry: Any, number: int) -> str:
    """What to call an entry: its id if that reads as one, else its number from 1."""
    name = entry.get("id") if isinstance(entry, dict) else None
    plain = isinstance(name, str) and 0 < len(name) <= 64 and name.replace("-", "").replace("_", "").isalnum()
    return str(name) if plain else str(number + 1)


def _season(raw: Any, source: Source, problems: list[Problem]) -> Season:
    """A programme and its steps; steps are built one by one so that a bad one does not hide the others."""
    steps: tuple[Item[Step], ...] = ()
    left_out: frozenset[tuple[str]] = frozenset()
    if isinstance(raw, dict) and isinstance(raw.get("steps"), list) and raw["steps"]:
        steps = tuple(
            build(Step, entry, _step_source(source, number), problems) for number, entry in enumerate(raw["steps"])
        )
        left_out = frozenset({("steps",)})
    return Season(build(Programme, raw, source, problems, left_out), steps)


def _step_source(source: Source, number: int) -> Source:
    base = (*source.base, "steps", number)
    return Source(source.file, source.lines, base, f"{source.label}.steps[{number + 1}]")
