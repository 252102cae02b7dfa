"""The store: small explicit units of work, each one transaction, none held open over a network call."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import SQLAlchemyError

from adapters.feeds.state import FetchState
from adapters.store import briefs, chances, forecasts, ledger, maintenance, observed
from adapters.store.briefs import BriefRow, OutboxRow, QueuedBrief
from adapters.store.chances import Pairs
from adapters.store.engine import StoreError, database_url, make_engine
from adapters.store.forecasts import NewRun, RunHead, StoredRun
from adapters.store.migrate import upgrade
from scheduler.clockwork.retry import MOST_CLAIMS, RetryDecision
from scheduler.values import Entry
from scheduler.verify.place import Learned
from scheduler.weather.calibration import Calibrated, Event, Said
from scheduler.weather.past import PastHour, PastRain


def open_store(folder: Path, database: str | None = None) -> "Store":
    """Open the store of an estate folder, made or brought up to date where needed.

    `database` is the value of LIGULE_DATABASE, None for `ligule.db` in the folder. Raises StoreError.
    """
    url = database_url(folder, database)
    upgrade(url)
    return Store(make_engine(url))


class Store:
    """The database of one estate. Safe to use from several threads; every method is one transaction."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    def close(self) -> None:
        """Let go of all connections."""
        self.engine.dispose()

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        try:
            with self.engine.begin() as connection:
                yield connection
        except SQLAlchemyError as error:
            raise _plain(error) from None
        except UnicodeEncodeError as error:
            raise StoreError(f"database: a text that cannot be written ({error.reason})") from None

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            with self.engine.connect().execution_options(readonly=True) as connection:
                yield connection
        except SQLAlchemyError as error:
            raise _plain(error) from None

    # The ledger.

    def add_entry(self, entry: Entry, recorded_at: datetime) -> int:
        """Record a job done or skipped; its id."""
        with self._writing() as connection:
            return ledger.add(connection, entry, recorded_at)

    def add_entries(self, rows: Sequence[Entry], recorded_at: datetime) -> list[int]:
        """Record several rows, all or nothing; their ids."""
        with self._writing() as connection:
            return ledger.add_all(connection, rows, recorded_at)

    def undo_last(self, lawn: str, product: str, now: datetime) -> Entry | None:
        """Take back the entry recorded last for a lawn and product; it, or None if there is none."""
        with self._writing() as connection:
            return ledger.undo_last(connection, lawn, product, now)

    def entries(self, lawn: str | None = None, *, with_undone: bool = False) -> list[Entry]:
        """Entries that stand (or all that ever were), in order of the work."""
        with self._reading() as connection:
            return ledger.entries(connection, lawn=lawn, with_undone=with_undone)

    # Forecasts.

    def save_feed(self, states: Iterable[FetchState], runs: Sequence[NewRun]) -> list[int]:
        """Keep what a feed gave and how it stands now, all or nothing; the ids of the runs.

        A state that says "fresh" without the answer it speaks of would keep the feed from being asked.
        """
        with self._writing() as connection:
            forecasts.save_states(connection, states)
            return forecasts.save_all(connection, runs)

    def feed_states(self, provider: str) -> dict[str, FetchState]:
        """Cell -> how one feed stands."""
        with self._reading() as connection:
            return forecasts.states(connection, provider)

    def newest_runs(self, now: datetime) -> dict[tuple[str, str], RunHead]:
        """(cell, provider) -> the newest run known at `now`."""
        with self._reading() as connection:
            return forecasts.newest(connection, now)

    def load_run(self, run_id: int) -> StoredRun | None:
        """One run with its body."""
        with self._reading() as connection:
            return forecasts.load(connection, run_id)

    # Rain that has fallen.

    def save_observed(self, told: Mapping[str, PastRain], now: datetime) -> None:
        """Keep what answers of feeds say of past hours, by cell; a worse figure never replaces a better one."""
        with self._writing() as connection:
            observed.save(connection, told, now)

    def observed(self, cell: str, since: datetime, until: datetime | None = None) -> list[PastHour]:
        """The rain of a cell's hours that begin at `since` or later and are over at `until`, oldest first.

        Without `until`: over at the newest word about the cell. Hours that nobody told of are left out.
        """
        with self._reading() as connection:
            return observed.of_cell(connection, cell, since, until)

    def forget_observed(self, before: datetime) -> int:
        """Drop the rain of hours before an instant; how many hours."""
        with self._writing() as connection:
            return observed.forget(connection, before)

    def observed_in(self, cells: Iterable[str], since: datetime, until: datetime) -> dict[str, list[PastHour]]:
        """Cell -> what `observed` tells of it."""
        with self._reading() as connection:
            return observed.of_cells(connection, cells, since, until)

    # Chances of rain, and what came of them.

    def say_chances(self, said: Sequence[Said], now: datetime) -> None:
        """Keep chances as they were said at `now`; of several for one start and lead the first stays."""
        with self._writing() as connection:
            chances.say(connection, said, now)

    def undecided_chances(self, since: datetime, until: datetime) -> list[Said]:
        """Chances for starts in [since, until) whose outcome is not on record."""
        with self._reading() as connection:
            return chances.undecided(connection, since, until)

    def settle_chances(self, outcomes: Sequence[tuple[Said, int]]) -> None:
        """Record whether it came wet (1) or not (0)."""
        with self._writing() as connection:
            chances.settle(connection, outcomes)

    def forget_chances(self, before: datetime, undecided_before: datetime) -> int:
        """Drop chances for starts before an instant, those without an outcome before another; how many."""
        with self._writing() as connection:
            return chances.forget(connection, before, undecided_before)

    def chance_pairs(self, cell: str) -> dict[Event, Pairs]:
        """Event -> what was said and what came, at one cell."""
        with self._reading() as connection:
            return chances.pairs(connection, cell)

    def save_learned(self, cell: str, learned: Sequence[Learned], now: datetime) -> None:
        """Keep the calibrations of a cell, in place of those before."""
        with self._writing() as connection:
            chances.save_learned(connection, cell, learned, now)

    def learned(self) -> dict[str, tuple[Calibrated, ...]]:
        """Cell -> its calibrations that are in use."""
        with self._reading() as connection:
            return chances.learned(connection)

    def learned_at(self) -> dict[str, datetime]:
        """Cell -> when its calibrations were made, for those that have any."""
        with self._reading() as connection:
            return chances.learned_at(connection)

    # Briefs and the outbox.

    def queue_brief(self, brief: QueuedBrief, now: datetime) -> bool:
        """Record one brief and its messages, all or nothing; False if this person and date are on record already."""
        return self.queue_briefs([brief], now) == 1

    def queue_briefs(self, batch: Sequence[QueuedBrief], now: datetime) -> int:
        """Record several briefs and their messages in one transaction; how many were not on record yet."""
        with self._writing() as connection:
            return briefs.queue(connection, batch, now)

    def recorded_briefs(self, since: date) -> set[tuple[str, date]]:
        """(person, local date) of the briefs on record from `since` on."""
        with self._reading() as connection:
            return briefs.recorded(connection, since)

    def undelivered_briefs(self, since: date) -> set[tuple[str, date]]:
        """(person, local date) of the briefs from `since` on that reached nobody."""
        with self._reading() as connection:
            return briefs.undelivered(connection, since)

    def brief(self, person: str, local_date: date) -> BriefRow | None:
        """The record of one brief."""
        with self._reading() as connection:
            return briefs.brief(connection, person, local_date)

    def restored_at(self) -> datetime | None:
        """When this database was last put back from a copy; what was due before may have been sent already."""
        with self._reading() as connection:
            return maintenance.restored_at(connection)

    def newest_brief_at(self) -> datetime | None:
        """When the last brief was decided: the clock must not lie far behind it."""
        with self._reading() as connection:
            return briefs.newest(connection)

    def claim(self, now: datetime, owner: str, limit: int) -> list[OutboxRow]:
        """Take up to `limit` messages whose turn it is; they are ours until sent, failed or the lease runs out."""
        with self._writing() as connection:
            return briefs.claim(connection, now, owner, limit)

    def mark_sent(self, row_id: int, owner: str, now: datetime) -> bool:
        """Record a delivery; False if the row is no longer ours."""
        with self._writing() as connection:
            return briefs.mark_sent(connection, row_id, owner, now)

    def mark_failed(self, row_id: int, owner: str, decision: RetryDecision, *, why: str, unknown: bool = False) -> bool:
        """Record a send that was not confirmed; False if the row is no longer ours. `why` must be free of secrets."""
        with self._writing() as connection:
            return briefs.mark_failed(connection, row_id, owner, decision, why=why, unknown=unknown)

    def release(self, now: datetime, *, all_but: str | None = None) -> int:
        """Give back rows whose lease has run out, or all that are not `all_but`'s; how many."""
        with self._writing() as connection:
            return briefs.release(connection, now, all_but=all_but)

    def close_overdue(self, now: datetime) -> int:
        """Expire what is past its time; how many rows."""
        with self._writing() as connection:
            return briefs.close_overdue(connection, now, MOST_CLAIMS)

    def forget_wording(self, before: date) -> int:
        """Drop the wording of messages sent before a date; the rows and the decisions stay. How many."""
        with self._writing() as connection:
            return briefs.forget_wording(connection, before)

    def pictures(self, person: str, local_date: date) -> tuple[tuple[str, bytes], ...]:
        """(content id, PNG) of what the mails of a brief show."""
        with self._reading() as connection:
            return briefs.pictures(connection, person, local_date)

    def outbox_rows(self, person: str | None = None) -> list[OutboxRow]:
        """The outbox, oldest first."""
        with self._reading() as connection:
            return briefs.rows(connection, person)


def _plain(error: SQLAlchemyError) -> StoreError:
    """The database's own words without statement and values, which may hold a person's message."""
    return StoreError(f"database: {getattr(error, 'orig', None) or type(error).__name__}")
