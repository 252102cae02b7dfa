"""The estate as it stands in its folder: read again when a file changes, kept as it was when the change is faulty."""

import logging
import threading
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from config.load import load_estate
from config.models import Estate
from config.problems import EstateInvalid

log = logging.getLogger("ligule.estate")

READ = frozenset((".toml", ".csv", ".geojson", ".json"))
Signature = tuple[tuple[str, int, int], ...]


class Estates:
    """The newest faultless estate. Raises EstateInvalid at the start only."""

    def __init__(
        self,
        folder: Path,
        environ: Mapping[str, str],
        load: Callable[[Path, Mapping[str, str]], Estate] = load_estate,
    ) -> None:
        self.folder, self.environ, self.load = folder, environ, load
        self._lock = threading.Lock()
        self._files = self._declared()
        self._estate = load(folder, environ)
        self._drawn = self._outlines()

    def current(self) -> Estate:
        """The estate. Cheap: the files' times and sizes are looked at, their contents only after a change."""
        with self._lock:
            files = self._declared()
            if (files, self._outlines()) != (self._files, self._drawn):
                self._read_again()
                # As they stood before the reading: what changed during it is seen at the next look.
                self._files, self._drawn = files, self._outlines()
            return self._estate

    def _read_again(self) -> None:
        try:
            self._estate = self.load(self.folder, self.environ)
        except EstateInvalid as error:
            for problem in error.problems:
                log.error("%s", problem)
            log.error("%d mistakes in the changed estate; the one before stays in force", len(error.problems))
        except OSError as error:
            log.error("the changed estate cannot be read (%s); the one before stays in force", error.strerror)
        else:
            log.info("the changed estate is in force")

    def _declared(self) -> Signature:
        """Times and sizes of the files in the folder itself; the folder may lie among anything, so no deeper."""
        try:
            return _signature(path for path in self.folder.iterdir() if path.suffix.lower() in READ)
        except OSError:
            return ()

    def _outlines(self) -> Signature:
        return _signature(self.folder / lawn.outline for lawn in self._estate.lawns if lawn.outline)


def _signature(paths: Iterable[Path]) -> Signature:
    return tuple(sorted(_marks(path) for path in paths))


def _marks(path: Path) -> tuple[str, int, int]:
    try:
        stat = path.stat()
    except OSError:  # a file that was there a moment ago is being replaced
        return str(path), 0, -1
    return str(path), stat.st_mtime_ns, stat.st_size
