"""The log: one line an event, to standard error, in UTC. Addresses and texts of messages never go in."""

import logging
import sys
import time


class OneLine(logging.Formatter):
    """A line stays a line, whatever a name or an answer from outside holds."""

    converter = staticmethod(time.gmtime)

    def format(self, record: logging.LogRecord) -> str:
        """The record with its line ends and control characters made visible."""
        text = super().format(record)
        return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def log_to_stderr(level: int = logging.INFO) -> None:
    """Send the log to standard error, unless the program around us has set up its own."""
    root = logging.getLogger()
    if root.handlers:
        return
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(OneLine("%(asctime)s.%(msecs)03dZ %(levelname)s %(name)s: %(message)s", "%Y-%m-%dT%H:%M:%S"))
    logging.getLogger("alembic").setLevel(logging.WARNING)
    root.addHandler(handler)
    root.setLevel(level)
