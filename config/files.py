"""Reading the text files of an estate: every way a file can fail becomes one Problem."""

import os
import stat
from pathlib import Path

from config.problems import Problem

MAX_BYTES = 20_000_000
SAVE_AS = {".csv": "text in UTF-8 (in a spreadsheet: save as CSV UTF-8)"}


class _Unreadable(Exception):
    """Why a file cannot be used: what was found, what is allowed, and the line if there is one."""


def read_text(path: Path, problems: list[Problem]) -> str | None:
    """The text of a UTF-8 file (with or without a byte order mark), or None with the reason added to `problems`."""
    try:
        return _decoded(_read_bytes(path), SAVE_AS.get(path.suffix, "text in UTF-8"))
    except _Unreadable as error:
        found, allowed, line = error.args
        of_sheet = path.suffix == ".csv"
        problems.append(Problem(path.name, None if of_sheet else line, "", found, allowed, line if of_sheet else None))
        return None


def _decoded(data: bytes, allowed: str) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\x00" in data:
        raise _Unreadable("UTF-16 text or a binary file", allowed, None)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _Unreadable(f"byte 0x{data[error.start]:02X}, which is not UTF-8", allowed, line) from error


def _read_bytes(path: Path) -> bytes:
    try:
        # Looking before opening: opening a pipe or a device would wait for ever.
        if not stat.S_ISREG(path.stat().st_mode):
            raise _Unreadable("not a plain file", "a file that can be read", None)
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError as error:
        raise _Unreadable("no such file", "a file of this name", None) from error
    except (OSError, ValueError) as error:
        raise _Unreadable(_why(error), "a file that can be read", None) from error
    if len(data) > MAX_BYTES:
        raise _Unreadable(f"more than {MAX_BYTES // 1_000_000} MB", f"at most {MAX_BYTES // 1_000_000} MB", None)
    return data


def _why(error: Exception) -> str:
    if isinstance(error, OSError) and error.errno is not None:
        return os.strerror(error.errno).lower()
    return "a name that no file can have"
