"""Cleaning of what people type: one form of every letter, and no character that hides or turns round what is shown."""

import unicodedata
from collections.abc import Iterator
from typing import Any

Path = tuple[str | int, ...]
Fault = tuple[Path, str, str]  # where, found, allowed

LARGEST_NUMBER = 1e9
LONGEST = {"name": 80, "round": 80, "client": 80, "registration": 80, "rounds": 80}
LONGEST_OTHER = 2000

_MANY_LINES = ("notes", "cautions")
_KEPT_AS_TYPED = ("reach", "urls", "outline", "contact")  # addresses and file names: another form is another thing
_BIDI = {*range(0x202A, 0x202F), *range(0x2066, 0x206A)}  # embeddings, overrides, isolates (Unicode UAX 9)
_LINE_BREAKS = {0x2028, 0x2029}


def clean(value: Any, path: Path = ()) -> Any:
    """The same value with every text stripped of outer blanks and in Unicode form NFC (UAX 15)."""
    if isinstance(value, str):
        typed = any(part in _KEPT_AS_TYPED for part in path)
        return value.strip() if typed else unicodedata.normalize("NFC", value.strip())
    if isinstance(value, dict):
        return {key: clean(inner, (*path, key)) for key, inner in value.items()}
    if isinstance(value, list):
        return [clean(inner, (*path, number)) for number, inner in enumerate(value)]
    return value


def faults(value: Any, path: Path = ()) -> Iterator[Fault]:
    """Texts with hidden characters or too long, and numbers too large, anywhere inside a value."""
    if isinstance(value, str):
        yield from _text_faults(value, path)
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from faults(inner, (*path, key))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from faults(inner, (*path, number))
    elif isinstance(value, int | float) and abs(value) > LARGEST_NUMBER:
        yield path, "a number too large to mean anything", f"numbers up to {LARGEST_NUMBER:.0e}"


def _text_faults(text: str, path: Path) -> Iterator[Fault]:
    names = [part for part in path if isinstance(part, str)]
    bad = (
        None
        if text.isprintable()
        else next((char for char in text if _is_hidden(char, many_lines=any(n in _MANY_LINES for n in names))), None)
    )
    if bad is not None:
        name = unicodedata.name(bad, "control character").lower()
        yield path, f"the character U+{ord(bad):04X} ({name})", "text without control or text-direction characters"
    longest = LONGEST.get(names[-1] if names else "", LONGEST_OTHER)
    if len(text) > longest:
        yield path, f"{len(text)} characters", f"at most {longest} characters"


def _is_hidden(char: str, *, many_lines: bool) -> bool:
    if many_lines and char in "\n\r\t":
        return False
    return unicodedata.category(char) == "Cc" or ord(char) in _BIDI or ord(char) in _LINE_BREAKS
