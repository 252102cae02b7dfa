"""Strict reading of a feed's answer. Whatever is wrong with it becomes FeedUnusable, one sentence each."""

import json
import math
import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import orjson

from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import FIELDS, HOUR, Floats

MOST_BYTES = 8_000_000  # 200 places of Open-Meteo are about 5 MB
MOST_PARTS = 100_000  # objects and arrays in one answer; a full NWS grid has about 10,000
MOST_HOURS = 2000
MOST_AHEAD = timedelta(days=40)
FUTURE = timedelta(hours=1)  # clocks may differ this much
NEAR_KM = 30.0  # no feed's grid is coarser than this
_EARTH_KM = 6371.0

Json = dict[str, Any]


def decode(body: bytes) -> Any:
    """The JSON value of `body`.

    Raises FeedUnusable for anything but plain UTF-8 JSON: HTML, a cut answer, NaN or infinite numbers, a key given
    twice, nesting or sizes that no feed sends.
    """
    if len(body) > MOST_BYTES or body.count(b"[") + body.count(b"{") > MOST_PARTS:
        raise FeedUnusable("the answer is larger than any forecast")
    if body.lstrip()[:1] == b"<":
        raise FeedUnusable("the answer is a web page, not a forecast")
    try:
        found = orjson.loads(body)  # strict about all of it but keys given twice
        if isinstance(found, dict | list) and _gives_each_key_once(body, found):
            return found
    except orjson.JSONDecodeError:
        pass  # the slower reader below has the last word, and the reason
    try:
        return json.loads(
            body.decode("utf-8-sig"), parse_float=_finite, parse_constant=_no_constant, object_pairs_hook=_unique
        )
    except (ValueError, RecursionError, MemoryError) as error:
        why = str(error) if isinstance(error, _Said) else "cut short or not JSON"
        raise FeedUnusable(f"the answer cannot be read: {why}") from None


_KEY = re.compile(rb'"[ \t\r\n]*:')


def _gives_each_key_once(body: bytes, found: Any) -> bool:
    """True if `found` holds as many keys as stand in `body`. False also where that cannot be told by counting."""
    objects = keys = 0
    waiting = [found]
    while waiting:
        part = waiting.pop()
        if isinstance(part, dict):
            objects, keys = objects + 1, keys + len(part)
            waiting += [value for value in part.values() if isinstance(value, dict | list)]
        elif part and isinstance(part[0], dict | list):  # long lists of numbers are not gone through
            waiting += [value for value in part if isinstance(value, dict | list)]
    return objects == body.count(b"{") and keys == len(_KEY.findall(body))


_MARK = re.compile(rb'["{}]')
_REST_OF_TEXT = re.compile(rb'(?:[^"\\]|\\.)*+"', re.DOTALL)


def objects_in(body: bytes) -> list[bytes]:
    """The objects of the JSON list `body`, each as it stands there. Whether they are sound is for `decode` to say.

    Raises FeedUnusable for what is not a list of objects.
    """
    found: list[bytes] = []
    between = b""  # what stands outside of the objects
    depth = begin = end = at = 0
    while depth >= 0 and (mark := _MARK.search(body, at)):
        at = mark.end()
        if mark.group() == b'"':
            text = _REST_OF_TEXT.match(body, at)
            at = text.end() if text else len(body)
        elif mark.group() == b"{":
            if depth == 0:
                begin, between = mark.start(), between + body[end : mark.start()]
            depth += 1
        else:
            depth -= 1
            if depth == 0:
                end = at
                found.append(body[begin:end])
    between = b"".join((between + body[end:]).split())
    if depth != 0 or between != b"[" + b"," * (len(found) - 1) + b"]":
        raise FeedUnusable("the answer is not a list of one forecast for each place asked")
    return found


class _Said(ValueError):
    """A ValueError whose text is fit to be shown."""


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise _Said("it holds a number without bounds")
    return value


def _no_constant(text: str) -> float:
    raise _Said(f"it holds {text} where a number belongs")


def _unique(pairs: list[tuple[str, Any]]) -> Json:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _Said("it gives one key twice")
    return found


def part(parent: Any, name: str) -> Json:
    """The object `name` in `parent`; FeedUnusable if there is none."""
    found = parent.get(name) if isinstance(parent, dict) else None
    if not isinstance(found, dict):
        raise FeedUnusable(f"the answer has no part {name!r}")
    return found


def rows(parent: Any, name: str) -> list[Any]:
    """The list `name` in `parent`, at most MOST_HOURS long; FeedUnusable if there is none."""
    found = parent.get(name) if isinstance(parent, dict) else None
    if not isinstance(found, list):
        raise FeedUnusable(f"the answer has no list {name!r}")
    if len(found) > MOST_HOURS:
        raise FeedUnusable(f"the list {name!r} is longer than {MOST_HOURS}")
    return found


def shown(value: Any, most: int = 40) -> str:
    """A value of the feed, short and harmless enough for a message."""
    return ascii(value[:most] if isinstance(value, str) else value)[:most]


def number(value: Any, what: str, low: float, high: float) -> float:
    """A JSON number within [low, high]; NaN for null. FeedUnusable for strings, booleans and anything outside."""
    if value is None:
        return math.nan
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise FeedUnusable(f"{what} is not a number: {shown(value)}")
    if not low <= value <= high:
        raise FeedUnusable(f"{what} cannot be weather: {shown(value)}")
    return float(value)


def numbers(values: list[Any], what: str, low: float, high: float) -> Floats:
    """JSON numbers as `number` reads them, all at once: NaN for null. Raises FeedUnusable for what `number` refuses."""
    if _NUMBERS.issuperset(map(type, values)):
        try:
            found = np.array(values, dtype=np.float64)
        except OverflowError:  # an integer beyond any float
            found = np.full(len(values), np.inf)
        if not ((found < low) | (found > high)).any():
            return found
    return np.array([number(value, what, low, high) for value in values], dtype=np.float64)


_NUMBERS = {int, float, type(None)}


def within_bounds(arrays: dict[str, Floats]) -> None:
    """FeedUnusable if a converted field leaves the bounds of scheduler.weather.forecast.FIELDS; NaN passes."""
    for name, values in arrays.items():
        unit, low, high = FIELDS[name]
        outside = (values < low) | (values > high) | np.isinf(values)
        if outside.any():
            worst = float(values[outside][0])
            raise FeedUnusable(f"{name} cannot be weather: {worst:g} ({unit})")


def instant(value: Any, what: str) -> datetime:
    """An ISO 8601 time with its offset, as UTC; FeedUnusable otherwise."""
    try:
        when = datetime.fromisoformat(value)
        if when.utcoffset() is None:
            raise ValueError
        return when.astimezone(UTC)
    except (TypeError, ValueError, OverflowError):
        raise FeedUnusable(f"{what} is not a time: {shown(value)}") from None


def hour_stamps(times: Iterable[datetime]) -> list[datetime]:
    """Checked stamps: whole UTC hours, rising, of a sensible span. Gaps are allowed. FeedUnusable otherwise."""
    stamps = list(times)
    if not stamps:
        raise FeedUnusable("the answer holds no hours")
    if any(t.minute or t.second or t.microsecond for t in stamps):
        raise FeedUnusable("the times are not whole UTC hours (ask the feed for GMT)")
    if any(later <= earlier for earlier, later in zip(stamps, stamps[1:], strict=False)):
        raise FeedUnusable("the times are not in order, or one is given twice")
    if stamps[-1] - stamps[0] > MOST_HOURS * HOUR:
        raise FeedUnusable("the answer spans more hours than any forecast")
    return stamps


def check_issue(issued: datetime, received: datetime) -> None:
    """FeedUnusable if the issue time lies more than an hour after the receipt."""
    if issued > received + FUTURE:
        raise FeedUnusable(f"the forecast says it was issued in the future ({issued:%Y-%m-%d %H:%M} UTC)")


def check_horizon(end: datetime, received: datetime) -> None:
    """FeedUnusable if the forecast reaches further than any model does."""
    if end > received + MOST_AHEAD:
        raise FeedUnusable(f"the forecast reaches more than {MOST_AHEAD.days} days ahead")


def check_place(latitude: Any, longitude: Any, asked: tuple[float, float]) -> None:
    """FeedUnusable if the answer's place [degrees] is more than NEAR_KM from the one asked for."""
    north = number(latitude, "the latitude", -90.0, 90.0)
    east = number(longitude, "the longitude", -180.0, 360.0)
    if math.isnan(north) or math.isnan(east):
        raise FeedUnusable("the answer does not say which place it is for")
    away = distance_km((north, east), asked)
    if away > NEAR_KM:
        raise FeedUnusable(f"the answer is for another place, {away:.0f} km away")


def distance_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Great-circle distance of two (latitude, longitude) [degrees], haversine formula."""
    (p1, l1), (p2, l2) = [(math.radians(a), math.radians(b)) for a, b in (one, other)]
    h = math.sin((p2 - p1) / 2) ** 2 + math.cos(p1) * math.cos(p2) * math.sin((l2 - l1) / 2) ** 2
    return 2 * _EARTH_KM * math.asin(math.sqrt(min(1.0, h)))
