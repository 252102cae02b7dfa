"""What every command shares: the estate folder, its store, the clock, and how an error ends."""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from difflib import get_close_matches
from functools import wraps
from pathlib import Path
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

import click

from adapters.clock import SystemClock
from adapters.store.engine import StoreError
from adapters.store.store import Store, open_store
from config.load import load_estate
from config.models import Estate, Lawn, Person, Product
from config.problems import EstateInvalid
from scheduler.ports import FeedUnavailable, FeedUnusable

INPUT_WRONG, OUTSIDE_FAILED, UNDECIDED = 2, 3, 4
YEARS = (1970, 2200)  # instants that a person can mean; near the ends of the calendar arithmetic fails


class Ended(Exception):
    """A command ends early with a message for the user and an exit code."""

    def __init__(self, message: str, code: int = INPUT_WRONG) -> None:
        super().__init__(message)
        self.code = code


class Context:
    """The estate a command works on; loaded when first asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.environ = dict(os.environ)
        self._estate: Estate | None = None

    @property
    def allow_local(self) -> bool:
        """Whether loopback and private addresses may be reached."""
        return self.environ.get("LIGULE_ALLOW_LOCAL") == "1"

    @property
    def estate(self) -> Estate:
        """The checked estate. EstateInvalid with every mistake in it."""
        if self._estate is None:
            self._estate = load_estate(self.folder, self.environ)
        return self._estate

    @contextmanager
    def store(self) -> Iterator[Store]:
        """The estate's store, open for the time of the block."""
        with open_store(self.folder, self.environ.get("LIGULE_DATABASE")) as store:
            yield store

    def now(self, given: datetime | None = None) -> datetime:
        """The present instant, or the one given with --now."""
        return given.astimezone(UTC) if given else SystemClock().now()

    def lawn(self, lawn_id: str) -> Lawn:
        """The lawn of that id, or an end with the nearest ids."""
        return _known(self.estate.lawns, lawn_id, "lawn")

    def product(self, product_id: str) -> Product:
        """The product of that id, or an end with the nearest ids."""
        return _known(self.estate.products, product_id, "product")

    def person(self, person_id: str) -> Person:
        """The person of that id, or an end with the nearest ids."""
        return _known(self.estate.people, person_id, "person")

    def local_date(self, lawn: Lawn, when: datetime) -> date:
        """The date on a lawn at an instant."""
        return when.astimezone(ZoneInfo(self.estate.zone_of(lawn))).date()


def _known(parts: tuple[Any, ...], wanted: str, kind: str) -> Any:
    found = {part.id: part for part in parts}
    if wanted in found:
        return found[wanted]
    near = get_close_matches(wanted, list(found), n=3) or list(found)[:5]
    raise Ended(f"{kind}: found {wanted!r}, allowed: {', '.join(near) if near else f'no {kind} is declared'}")


class Instant(click.ParamType):
    """An ISO 8601 instant with an offset."""

    name = "TIME"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> datetime:
        """Read it; a time without offset is refused, since nobody could say which hour it means."""
        if isinstance(value, datetime):
            return value
        try:
            when = datetime.fromisoformat(value)
        except ValueError:
            self.fail(
                f"{value!r} is not a time; allowed: ISO 8601 with offset, such as 2026-05-04T06:00+01:00", param, ctx
            )
        if when.tzinfo is None:
            self.fail(f"{value!r} has no offset; write 2026-05-04T06:00Z or 2026-05-04T06:00+01:00", param, ctx)
        if not YEARS[0] <= when.year < YEARS[1]:
            self.fail(f"{value!r} lies outside the years {YEARS[0]} to {YEARS[1] - 1}", param, ctx)
        return when.astimezone(UTC)


INSTANT = Instant()
pass_context = click.make_pass_decorator(Context)


def plain_errors(command: Callable[..., Any]) -> Callable[..., Any]:
    """Turn what users cause and what the outside does into one clear message and an exit code, without a traceback."""

    @wraps(command)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except EstateInvalid as error:
            for problem in error.problems:
                click.echo(str(problem), err=True)
            count = len(error.problems)
            _end(f"{count} mistake{'s' if count != 1 else ''} found; nothing was changed.", INPUT_WRONG)
        except Ended as error:
            _end(str(error), error.code)
        except (StoreError, FeedUnavailable) as error:
            _end(str(error), OUTSIDE_FAILED)
        except FeedUnusable as error:
            _end(str(error), INPUT_WRONG)

    return wrapped


def _end(message: str, code: int) -> NoReturn:
    click.echo(f"ligule: {message}", err=True)
    sys.exit(code)
