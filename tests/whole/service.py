"""The service as a process of its own, with a place where it can be told to die.

python -m tests.whole.service FOLDER CLOCK        environment: DIE_AT=n ends it without a word at the n-th point
"""

import os
import signal
import sys
import threading
from datetime import datetime
from pathlib import Path

from adapters.clock import TrialClock
from adapters.daemon import run


class DieAt:
    """Counts the points that the service passes, and kills the process at one of them."""

    def __init__(self, number: int) -> None:
        self.left = number
        self.turn = threading.Lock()

    def __call__(self, point: str) -> None:
        with self.turn:
            self.left -= 1
            if self.left == 0:
                print(f"dies: {point}", file=sys.stderr, flush=True)
                os.kill(os.getpid(), signal.SIGKILL)
                threading.Event().wait()  # nothing is done any more, not even by this thread


if __name__ == "__main__":
    clock = TrialClock(datetime.fromisoformat(sys.argv[2]))
    sys.exit(run(Path(sys.argv[1]), dict(os.environ), clock, point=DieAt(int(os.environ["DIE_AT"]))))
