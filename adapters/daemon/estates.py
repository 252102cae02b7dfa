"""The estate as it stands in its folder: read again when a file changes, kept as it was when the change is faulty."""

import logging
import threading
from collections.abc import Callable, Mapping
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
        self._seen = self._signature()
        self._estate = load(folder, environ)

    def current(self) -> Estate:
        """The estate. Cheap: the files' times and sizes are looked at, their contents only after a change."""
        with self._lock:
            seen = self._signature()
            if seen != self._seen:
                self._seen = seen
                self._read_again()
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

    def _signature(self) -> Signature:
        try:
            files = [path for path in self.folder.rglob("*") if path.suffix.lower() in READ]
            return tuple(sorted((str(p), (stat := p.stat()).st_mtime_ns, stat.st_size) for p in files))
        except OSError:  # a file that was there a moment ago is being replaced
            return ()
