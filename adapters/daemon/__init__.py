"""The service: it watches the clock and the feeds, decides when a brief is due, and sends until it is delivered.

The database is the one truth. The jobs here only look at it and at the clock; being run late, twice or not at all
changes nothing but the time.
"""

from adapters.daemon.service import run

__all__ = ["run"]
