"""What became of a send."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Sent:
    """The receiver took the message."""


@dataclass(frozen=True)
class Failed:
    """The receiver did not confirm.

    `permanent`: it would refuse again. `unknown`: it may have taken the message (the answer never came), so that a
    second try may be a duplicate. `why` is in plain words and free of secrets.
    """

    why: str
    permanent: bool = False
    unknown: bool = False


Outcome = Sent | Failed
