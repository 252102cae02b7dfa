"""A draft as TOML, ready to paste into programmes.toml, with the generic sheets it needs for products.toml."""

import json
import textwrap
from collections.abc import Iterable, Mapping
from typing import Any

from config.models import Estate, Product
from scheduler.season.suggest_values import Stage, Suggestion

NAME_LENGTH = 50
WIDTH = 80


def programme_id(estate: Estate, suggestion: Suggestion) -> str:
    """An id for the drafted programme that the estate does not use yet."""
    taken = {programme.id for programme in estate.programmes}
    stem = f"plan-{suggestion.lawn.id}"[:60]
    number = 1
    while (name := stem if number == 1 else f"{stem}-{number}") in taken:
        number += 1
    return name


def programme_toml(estate: Estate, suggestion: Suggestion) -> str:
    """The programme as a [[programmes]] table; empty where there is nothing to do."""
    if not suggestion.stages:
        return ""
    name = textwrap.shorten(f"{suggestion.lawn.name}", NAME_LENGTH, placeholder="...")
    lines = [
        "[[programmes]]",
        f'id = "{programme_id(estate, suggestion)}"',
        f"name = {_text(f'{name}, drafted for {suggestion.season}')}",
        f'hemisphere = "{"south" if suggestion.southern else "north"}"',
    ]
    for stage in suggestion.stages:
        lines += _step(stage)
    return "\n".join(lines) + "\n"


def products_toml(suggestion: Suggestion) -> str:
    """The generic sheets the draft uses, as [[products]] tables; empty where it uses the owner's own alone."""
    used = {stage.product.id: stage.product for stage in suggestion.stages if not stage.own}
    return "\n".join("\n".join(_sheet(product)) + "\n" for product in used.values())


def _step(stage: Stage) -> Iterable[str]:
    yield "[[programmes.steps]]"
    yield f"product = {_text(stage.product.id)}"
    yield f'from = "{stage.first}"'
    yield f'to = "{stage.last}"'
    if stage.every_days is not None:
        yield f"every_days = [{stage.every_days[0]}, {stage.every_days[1]}]"


def _sheet(product: Product) -> Iterable[str]:
    yield "[[products]]"
    table = product.model_dump(mode="json", exclude_unset=True)
    inner = {key: value for key, value in table.items() if isinstance(value, dict)}
    yield from (f"{key} = {_value(value)}" for key, value in table.items() if key not in inner)
    for name, fields in inner.items():
        yield f"[products.{name}]"
        yield from (f"{key} = {_value(value)}" for key, value in fields.items())


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        inner = ", ".join(_value(item) for item in value)
        return f"[{inner}]" if len(inner) < WIDTH - 20 else "[\n" + "".join(f"  {_value(x)},\n" for x in value) + "]"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, Mapping):
        raise TypeError("tables are written by their own header")
    return f"{value:g}" if isinstance(value, float) and abs(value) < 1e6 else str(value)


def _text(text: str) -> str:
    """A TOML basic string: JSON's escapes are TOML's, but for DEL, which TOML wants escaped too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
