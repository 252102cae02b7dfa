"""Where each key of a TOML text stands: tomllib gives values but no line numbers.

The text must already have been accepted by tomllib; this scanner only walks it (TOML 1.0.0, https://toml.io/en/v1.0.0)
and does not judge it again.
"""

import re
import tomllib
from bisect import bisect_right
from collections import defaultdict

Path = tuple[str | int, ...]

_GAP = re.compile(r"(?:[ \t\n]|#[^\n]*+)*+")
_BLANK = re.compile(r"[ \t]*+")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_PLAIN_VALUE = re.compile(r"[^,\]}\n#]*+")
_STRINGS = (
    re.compile(r'"""(?:\\.|[^\\"]|"{1,2}(?!"))*+"{3,5}', re.DOTALL),
    re.compile(r"'''(?:[^']|'{1,2}(?!'))*+'{3,5}"),
    re.compile(r'"(?:\\.|[^\\"\n])*+"'),
    re.compile(r"'[^'\n]*+'"),
)


def key_lines(text: str) -> dict[Path, int]:
    """The line (from 1) of every table, key and array item of a valid TOML text, by its path.

    Tables of an array are numbered from 0: `("products", 2, "weather", "wind_m_s")`.
    """
    return _Scanner(text.replace("\r\n", "\n")).scan()


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line_starts = [0, *(found.end() for found in re.finditer("\n", text))]
        self.lines: dict[Path, int] = {}
        self.tables_of: defaultdict[Path, int] = defaultdict(int)

    def scan(self) -> dict[Path, int]:
        table: Path = ()
        while True:
            self._skip(_GAP)
            if self.at >= len(self.text):
                return self.lines
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._key_and_value(table)

    def _header(self) -> Path:
        line = self._line()
        opens = 2 if self.text.startswith("[[", self.at) else 1
        self.at += opens
        path: Path = ()
        parts = self._key()
        for number, part in enumerate(parts):
            path = (*path, part)
            self.lines.setdefault(path, line)
            if opens == 2 and number == len(parts) - 1:
                self.tables_of[path] += 1
            if path in self.tables_of:
                path = (*path, self.tables_of[path] - 1)
                self.lines.setdefault(path, line)
        self._skip(_BLANK)
        self.at += opens
        return path

    def _key_and_value(self, table: Path) -> None:
        line = self._line()
        path = table
        for part in self._key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self._skip(_BLANK)
        self.at += 1  # the equals sign
        self._skip(_BLANK)
        self._value(path)

    def _key(self) -> list[str]:
        parts = []
        while True:
            self._skip(_BLANK)
            if self.text[self.at] in "\"'":
                token = self._string()
                parts.append(tomllib.loads(f"k = {token}")["k"])
            else:
                parts.append(self._skip(_BARE_KEY))
            self._skip(_BLANK)
            if self.at >= len(self.text) or self.text[self.at] != ".":
                return parts
            self.at += 1

    def _value(self, path: Path) -> None:
        opener = self.text[self.at]
        if opener in "\"'":
            self._string()
        elif opener == "[":
            self._array(path)
        elif opener == "{":
            self._inline_table(path)
        else:
            self._skip(_PLAIN_VALUE)

    def _array(self, path: Path) -> None:
        self.at += 1
        number = 0
        while self._inside("]"):
            self.lines[(*path, number)] = self._line()
            self._value((*path, number))
            number += 1

    def _inline_table(self, path: Path) -> None:
        self.at += 1
        while self._inside("}"):
            self._key_and_value(path)

    def _inside(self, closer: str) -> bool:
        """Step over a gap and a comma; False (and past the closer) at the end of an array or inline table."""
        self._skip(_GAP)
        if self.text[self.at] == ",":
            self.at += 1
            self._skip(_GAP)
        if self.text[self.at] == closer:
            self.at += 1
            return False
        return True

    def _string(self) -> str:
        for pattern in _STRINGS:
            if found := pattern.match(self.text, self.at):
                self.at = found.end()
                return found.group()
        raise ValueError(f"not valid TOML at line {self._line()}")

    def _skip(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:
            raise ValueError(f"not valid TOML at line {self._line()}")
        self.at = found.end()
        return found.group()

    def _line(self) -> int:
        return bisect_right(self.line_starts, self.at)
