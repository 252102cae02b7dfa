"""A hard limit on a call into a library that sets none for the whole."""

import threading
from collections.abc import Callable
from typing import Generic, TypeVar

Result = TypeVar("Result")


class Bounded(Generic[Result]):
    """A call in a thread of its own, waited for so long and no longer.

    Python cannot stop a thread: one that is past its limit goes on by itself, as a daemon thread that does not keep
    the service from stopping, and may even still succeed.
    """

    def __init__(self, call: Callable[[], Result]) -> None:
        self._call = call
        self._results: list[Result] = []
        self._errors: list[Exception] = []
        self._thread = threading.Thread(target=self._run, daemon=True, name="send")

    def _run(self) -> None:
        try:
            self._results.append(self._call())
        except Exception as error:  # noqa: BLE001 - carried over to the thread that waits
            self._errors.append(error)

    def start(self) -> "Bounded[Result]":
        """Begin the call."""
        self._thread.start()
        return self

    def result(self, limit_s: float) -> Result | None:
        """What the call returned, or None if it has not ended after `limit_s`; raises what the call raised."""
        self._thread.join(limit_s)
        if self._errors:
            raise self._errors[0]
        return self._results[0] if self._results else None
