"""One daemon for one SQLite file."""

import fcntl
import os
from pathlib import Path
from typing import IO


class AlreadyRunning(Exception):
    """Another daemon holds the database."""


class DaemonLock:
    """An advisory lock on a file beside the database. The system lifts it when the process ends, however it ends."""

    def __init__(self, database: Path) -> None:
        self.path = database.with_name(database.name + ".lock")
        self._file: IO[str] | None = None

    def __enter__(self) -> "DaemonLock":
        file = self.path.open("a+", encoding="ascii")
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            file.seek(0)
            holder = file.read(20).strip()
            file.close()
            who = f"another ligule run (process {holder or 'unknown'})"
            raise AlreadyRunning(f"{who} holds {self.path}; only one may send from a database") from None
        file.truncate(0)
        file.write(str(os.getpid()))
        file.flush()
        self._file = file
        return self

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None
