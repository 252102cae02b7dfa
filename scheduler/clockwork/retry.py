"""What becomes of a message that could not be sent: a decision as data, carried out elsewhere."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

STEPS = tuple(timedelta(minutes=m) for m in (1, 5, 15, 60))  # wait after the 1st, 2nd, 3rd and every later failure
UNKNOWN_WAIT = timedelta(minutes=15)  # longer than any receiver can go on working at a call that we gave up
MOST_UNKNOWN = 2  # sends with an unknown outcome: each may be a duplicate, so there is one second try and no third
MOST_CLAIMS = 50  # a row taken up that often without an outcome has killed its sender each time


@dataclass(frozen=True)
class RetryDecision:
    """The next state of an outbox row; `next_try_at` is set exactly when the state is `due`."""

    state: Literal["due", "dead", "expired"]
    why: str
    next_try_at: datetime | None = None


def after_failure(
    now: datetime,
    expires_at: datetime,
    *,
    failures: int,
    permanent: bool = False,
    unknown: bool = False,
    unknowns: int = 0,
) -> RetryDecision:
    """Decide after a send that was not confirmed.

    `failures` and `unknowns` count the sends so far that failed and that ended with an unknown outcome, this one
    included. Permanent refusals are never tried again, an unknown outcome once more, everything else with a growing
    wait until the message is no longer worth sending.
    """
    if permanent:
        return RetryDecision("dead", "refused for good")
    if unknown and unknowns >= MOST_UNKNOWN:
        return RetryDecision("dead", "outcome unknown twice")
    wait = UNKNOWN_WAIT if unknown else STEPS[min(max(failures, 1), len(STEPS)) - 1]
    if now + wait >= expires_at:
        return RetryDecision("expired", "no time left for another try")
    return RetryDecision("due", f"next try in {wait // timedelta(minutes=1)} min", now + wait)
