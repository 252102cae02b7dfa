"""Forecasts out of a file: an answer as a feed gave it, or wrapped with its HTTP headers."""

import json
from datetime import datetime
from pathlib import Path
from typing import Any

from adapters.feeds import reading
from adapters.feeds.failures import http_date
from adapters.feeds.registry import feed_named
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import Forecast


def read_recorded(spec: str, *, latitude: float, longitude: float, now: datetime) -> Forecast:
    """The forecast of `spec`, "PROVIDER:FILE", for a place [degrees].

    The file holds the raw answer, or {"status_code", "headers", "data"}. Received counts as of the headers' `Date`, or
    `now`. Raises FeedUnusable for an unknown provider, a file that cannot be read, a failed answer, another place.
    """
    provider, colon, name = spec.partition(":")
    feed = feed_named(provider)
    if not (colon and name):
        raise FeedUnusable(f"{spec!r} is not PROVIDER:FILE")
    body, received = _unwrapped(_read(Path(name)), now)
    reading.check_issue(received, now)
    return feed.parse(body, latitude=latitude, longitude=longitude, received=received)


def _read(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            body = file.read(reading.MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or "not a file name"
        raise FeedUnusable(f"{path} cannot be read: {reason}") from None
    if len(body) > reading.MOST_BYTES:
        raise FeedUnusable(f"{path} is larger than any forecast")
    return body


def _unwrapped(body: bytes, now: datetime) -> tuple[bytes, datetime]:
    """The raw answer and when it was received."""
    answer = reading.decode(body)
    if not (isinstance(answer, dict) and "data" in answer and "headers" in answer):
        return body, now
    status = answer.get("status_code", 200)
    if status not in (200, 203):
        raise FeedUnusable(f"the recorded answer has the status {reading.shown(status)}")
    return json.dumps(answer["data"]).encode(), _date(answer["headers"], now)


def _date(headers: Any, now: datetime) -> datetime:
    """The `Date` header as UTC; `now` where there is none."""
    if not isinstance(headers, dict):
        return now
    said = next((text for key, text in headers.items() if key.lower() == "date"), None)
    if said is None:
        return now
    when = http_date(str(said))
    if when is None:
        raise FeedUnusable(f"the recorded Date cannot be read: {reading.shown(said)}")
    return when
