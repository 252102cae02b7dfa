"""Pictures for the mails of people with few lawns. They are an extra: no brief waits long or fails for one."""

import logging
import time
from collections.abc import Callable, Mapping, Sequence

from adapters.charts import ChartsMissing, picture
from adapters.notify.send import is_mail
from config.models import Person
from scheduler.morning import Desk
from scheduler.outlook import Outlook, outlook
from scheduler.values import Brief, Entry

log = logging.getLogger("ligule.pictures")

MOST_LAWNS = 3  # a mail with more of them is no longer light
LIMIT_S = 10.0  # for all pictures of one round of briefs; what is not drawn by then is left out


class Pictures:
    """Draws what mails show. `draw` and `limit_s` are for tests."""

    def __init__(
        self, environ: Mapping[str, str], draw: Callable[..., bytes] = picture, limit_s: float = LIMIT_S
    ) -> None:
        self.environ, self.draw, self.limit_s = environ, draw, limit_s
        self._said = ""
        logging.getLogger("matplotlib").setLevel(logging.WARNING)

    def of_round(
        self, desk: Desk, entries: Mapping[str, Sequence[Entry]], *, trial: bool
    ) -> Callable[[Person, Brief], dict[str, bytes]]:
        """A function from a person and their brief to lawn id -> PNG; each lawn is drawn once for all its people."""
        known: dict[str, bytes | None] = {}
        end_s = time.monotonic() + self.limit_s

        def of_lawn(lawn_id: str) -> bytes | None:
            if lawn_id not in known and time.monotonic() < end_s:
                lawn = desk.estate.lawn(lawn_id)
                known[lawn_id] = self._drawn(lambda: outlook(desk, lawn, entries.get(lawn_id, ())), trial)
            return known.get(lawn_id)

        def of_person(person: Person, brief: Brief) -> dict[str, bytes]:
            lawns = list(dict.fromkeys(line.lawn for line in brief.lines))
            if not 0 < len(lawns) <= MOST_LAWNS or len(desk.estate.lawns_of(person)) > MOST_LAWNS:
                return {}
            if not any(is_mail(reach, self.environ) for reach in person.reach):
                return {}
            return {lawn: png for lawn in lawns if (png := of_lawn(lawn)) is not None}

        return of_person

    def _drawn(self, told: Callable[[], Outlook], trial: bool) -> bytes | None:
        """A picture, or None with a word in the log: once for each new reason."""
        try:
            return self.draw(told(), trial=trial)
        except ChartsMissing as error:
            why = f"mails go without pictures: {error}"
        except Exception as error:  # noqa: BLE001 - the words of the brief are what matters
            why = f"a picture could not be drawn: {type(error).__name__}: {error}"
            log.debug("where it failed", exc_info=True)
        if why != self._said:
            log.warning("%s", why)
            self._said = why
        return None
