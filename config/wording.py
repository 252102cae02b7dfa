"""Plain words for problems: what was found, what a field allows, and the nearest known name."""

import difflib
import math
import types
from collections.abc import Collection, Iterable
from datetime import date, time
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from config.models import Ident, MonthDay, Product

FOUND_LENGTH = 60
MANY = 1000


def found_text(value: object, *, secret: bool = False) -> str:
    """A value as it may be shown: short, on one line, and never the inside of an address."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}" if value else "an empty list"
    if isinstance(value, int):
        return str(value) if abs(value) < 10**18 else "a number of more than 18 digits"
    if not isinstance(value, str):
        return _short(str(value))
    if not value.strip():
        return "empty text"
    if "://" in value:
        scheme = value.partition("://")[0]
        return _quoted(f"{scheme}://...") if scheme.isascii() and scheme.isalnum() else "an address"
    return "text that is not shown" if secret else _quoted(value)


def key_text(key: str, longest: int = 80) -> str:
    """A key, column or file name as it may be shown on one line."""
    return "".join(c if c.isprintable() else "?" for c in key[:longest]) or '""'


def allowed_text(annotation: Any, metadata: Iterable[Any] = ()) -> str:
    """What a field of this type allows, in plain words."""
    limits = _limits(metadata)
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return allowed_text(inner[0], [*inner[1:], *metadata])
    if origin in (Union, types.UnionType):
        return " or ".join(allowed_text(kind) for kind in inner if kind is not type(None))
    if origin is Literal:
        return _one_of(inner)
    if origin is tuple:
        if inner[-1] is Ellipsis:
            return f"a list, each entry {allowed_text(inner[0])}"
        return f"a list of {len(inner)}, each {allowed_text(inner[0])}"
    if annotation is str:
        return _text_text(limits)
    if annotation in (int, float):
        return ("a whole number" if annotation is int else "a number") + _bounds_text(limits)
    return _PLAIN.get(annotation, "a table")


def field_text(info: FieldInfo) -> str:
    """What one field of a model allows."""
    return allowed_text(info.annotation, info.metadata)


def nearest(word: object, known: Collection[str]) -> str | None:
    """The known name most like `word`, or None."""
    if not isinstance(word, str):
        return None
    by_lower = {name.lower(): name for name in known}
    if len(known) > MANY:
        # Comparing with thousands of names takes too long: look only among those that begin alike.
        by_lower = {low: name for low, name in by_lower.items() if low[:2] == word[:2].lower()}
    close = difflib.get_close_matches(word[:80].lower(), by_lower, n=1, cutoff=0.6)
    return by_lower[close[0]] if close else None


def known_text(word: object, known: Collection[str], what: str) -> str:
    """`what`, with the nearest known name or the whole (short) list of them."""
    if close := nearest(word, known):
        return f'{what}; did you mean "{key_text(close)}"?'
    if 0 < len(known) <= 25:
        return f"{what}: {', '.join(key_text(name) for name in sorted(known))}"
    return what if known else f"{what}, of which there is none"


def _short(text: str) -> str:
    return text if len(text) <= FOUND_LENGTH else text[:FOUND_LENGTH] + "..."


def _quoted(text: str) -> str:
    shown = "".join(c if c.isprintable() else f"<U+{ord(c):04X}>" for c in text[: FOUND_LENGTH + 1])
    return f'"{_short(shown)}"'


def _one_of(choices: tuple[Any, ...]) -> str:
    quoted = [f'"{choice}"' for choice in choices]
    return quoted[0] if len(quoted) == 1 else "one of " + ", ".join(quoted)


def _limits(metadata: Iterable[Any]) -> dict[str, Any]:
    """Bounds, lengths and pattern out of pydantic's and annotated_types' marks."""
    limits: dict[str, Any] = {}
    for mark in metadata:
        if isinstance(mark, FieldInfo):
            limits |= _limits(mark.metadata)
            continue
        for name in ("gt", "ge", "lt", "le", "min_length", "max_length", "pattern"):
            if (value := getattr(mark, name, None)) is not None:
                limits[name] = value
    return limits


def _bounds_text(limits: dict[str, Any]) -> str:
    words = {"gt": "above", "ge": "from", "lt": "below", "le": "up to"}
    parts = {name: f"{words[name]} {_plain_number(limits[name])}" for name in words if name in limits}
    if list(parts) == ["ge"]:
        return f" of {_plain_number(limits['ge'])} or more"
    return " " + (" and " if "gt" in parts else " ").join(parts.values()) if parts else ""


def _plain_number(value: float) -> str:
    return str(int(value)) if math.isfinite(value) and value == int(value) else str(value)


def _text_text(limits: dict[str, Any]) -> str:
    if text := _PATTERNS.get(limits.get("pattern", "")):
        return text
    low, high = limits.get("min_length", 0), limits.get("max_length")
    return f"text of {low} to {high} characters" if high else "text"


def _pattern(annotation: Any) -> str:
    marks = get_args(annotation)[1:] if get_origin(annotation) is Annotated else annotation
    return str(_limits(marks)["pattern"])


_PLAIN = {
    bool: "true or false",
    date: "a date such as 2026-04-01",
    time: 'a time such as "06:30"',
}
_PATTERNS = {
    "^[a-z0-9_]{1,60}$": "lower-case letters, digits and _, at most 60",
    _pattern(Ident): "lower-case letters, digits, - and _, starting with a letter or digit, at most 64",
    _pattern(MonthDay): 'a month and day such as "04-01"',
    _pattern(Product.model_fields["analysis"].metadata): '% N-P2O5-K2O such as "12-3-6"',
}
