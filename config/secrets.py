"""Secrets by name: `${NAME}` in an address is filled in only when it is used, and never kept in the estate.

A name is looked up as an environment variable, then as a systemd credential (a file of that name in
`$CREDENTIALS_DIRECTORY`, see systemd.exec(5)), then in the file that `NAME_FILE` names.
"""

import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from urllib.parse import quote, unquote, urlsplit

from config.models import Estate
from config.problems import Problem

MAX_SECRET_BYTES = 65_536
HIDDEN = "***"

_PLACEHOLDER = re.compile(r"\$\{([A-Za-z_][A-Za-z0-9_]*)\}")
_SHORTEST_PART = 4  # a shorter part of an address is a word like "to", not a secret


class SecretMissing(KeyError):
    """A `${NAME}` that nothing gives a value."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.name = name

    def __str__(self) -> str:
        return f"{self.name} is set neither as a variable, nor as a credential, nor by {self.name}_FILE"


def fill(text: str, environ: Mapping[str, str]) -> str:
    """The text with every `${NAME}` replaced by its secret. Raises SecretMissing, or ValueError for a broken `${`."""
    if not well_formed(text):
        raise ValueError("a ${ that is not followed by a name and }")
    return _PLACEHOLDER.sub(lambda found: secret(found.group(1), environ), text)


def secret(name: str, environ: Mapping[str, str]) -> str:
    """The value of one secret; raises SecretMissing when there is none or it is empty."""
    places = [Path(environ[f"{name}_FILE"])] if environ.get(f"{name}_FILE") else []
    if folder := environ.get("CREDENTIALS_DIRECTORY"):
        places.insert(0, Path(folder) / name)
    value = environ.get(name, "").strip() or next((found for place in places if (found := _content(place))), "")
    if not value:
        raise SecretMissing(name)
    return value


def secret_names(text: str) -> tuple[str, ...]:
    """The names a text asks for, in order, each once."""
    return tuple(dict.fromkeys(_PLACEHOLDER.findall(text)))


def well_formed(text: str) -> bool:
    """True unless the text holds a `${` that does not read as `${NAME}`."""
    return "${" not in _PLACEHOLDER.sub("", text)


def without_secrets(text: str) -> str:
    """The text with a harmless word for every `${NAME}`, so that its shape can be checked."""
    return _PLACEHOLDER.sub("x", text)


def redact(text: str, secrets: Iterable[str]) -> str:
    """The text with every secret hidden, as typed or percent-encoded; of an address also its parts."""
    hidden = {form for value in secrets for part in _parts(value) for form in (part, unquote(part), quote(part, ""))}
    for value in sorted((value for value in hidden if value.strip()), key=len, reverse=True):
        text = text.replace(value, HIDDEN)
    return text


def missing_secrets(estate: Estate, environ: Mapping[str, str]) -> tuple[Problem, ...]:
    """A Problem for each `${NAME}` of the estate's addresses that has no value in this environment."""
    texts = [(f"feed.urls.{provider}", url) for provider, url in estate.feed.urls.items()]
    for person in estate.people:
        texts += [(f"people[{person.id}].reach[{number}]", url) for number, url in enumerate(person.reach, start=1)]
    return tuple(
        Problem("estate.toml", None, where, f"${{{name}}} without a value", f"{name}, a credential or {name}_FILE")
        for where, text in texts
        for name in secret_names(text)
        if not _has(name, environ)
    )


def _has(name: str, environ: Mapping[str, str]) -> bool:
    try:
        secret(name, environ)
    except SecretMissing:
        return False
    return True


def _content(path: Path) -> str:
    """The text of a small secret file, or nothing: a file that cannot be read is a secret that is missing."""
    try:
        if not path.is_file():
            return ""
        with path.open("rb") as file:
            data = file.read(MAX_SECRET_BYTES + 1)
        return data.decode("utf-8").strip() if len(data) <= MAX_SECRET_BYTES else ""
    except (OSError, ValueError):
        return ""


def _parts(value: str) -> set[str]:
    """A secret, and if it is an address the parts that an error text may quote alone."""
    if "://" not in value:
        return {value}
    rest = value.partition("://")[2]
    parts = re.split(r"[/?&=#:@,;]", rest)
    with suppress(ValueError):  # an address that urlsplit refuses still has the parts split above
        parts += [part for part in (urlsplit(value).username, urlsplit(value).password) if part]
    return {value, rest, *(part for part in parts if len(part) >= _SHORTEST_PART)}
