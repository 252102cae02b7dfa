"""What an answer without a forecast means: who must act, and when to try again."""

import json
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

from adapters.feeds.http import Answer
from adapters.feeds.reading import shown
from config.secrets import redact
from scheduler.ports import FeedUnavailable

LONGEST_WAIT = timedelta(hours=6)  # no header may silence a feed for longer
OPERATOR_WAIT = timedelta(hours=24)
SETTINGS_WAIT = timedelta(minutes=10)  # nothing was asked, so nobody is bothered by looking again soon
_GIVEN_UP = {401, 403, 429}  # meant for all our requests, not for one place


def back_off(failures: int) -> timedelta:
    """Wait after a passing fault: 1, 2, 4, ... 60 minutes; `failures` happened in a row before this one."""
    return timedelta(minutes=min(60, 2 ** min(failures, 6)))


def failure_of(
    answer: Answer, host: str, *, now: datetime, failures: int, secrets: Iterable[str] = ()
) -> FeedUnavailable:
    """The failure that an answer with a status other than 200, 203 or 304 is, with the time to try again.

    4xx but 408 and 429 wait for the operator. The feed's own reason is quoted, without any of `secrets`.
    """
    status, reason = answer.status, _reason(answer)
    why = f"{host} answers {status}" + (f": {redact(reason, secrets)}" if reason else "")
    if status == 429:
        return FeedUnavailable(why, _after_limit(reason, answer.headers, now, failures))
    if 400 <= status < 500 and status != 408:
        return FeedUnavailable(why, now + OPERATOR_WAIT, operator=True)
    return FeedUnavailable(why, max(now + back_off(failures), _retry_after(answer.headers, now) or now))


def is_host_wide(answer: Answer) -> bool:
    """True if the other places need not be asked now either."""
    return answer.status in _GIVEN_UP


def _after_limit(reason: str, headers: Mapping[str, str], now: datetime, failures: int) -> datetime:
    """The limits of Open-Meteo by their words (RateLimiter.swift of its server); else back off from 5 minutes on."""
    said = reason.lower()
    if "minutely" in said:
        wanted = now + timedelta(seconds=60)
    elif "concurrent" in said:
        wanted = now + timedelta(seconds=15)
    elif "hourly" in said:
        wanted = now.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    elif "daily" in said:
        wanted = now.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    else:
        wanted = now + max(timedelta(minutes=5), back_off(failures))
    return max(wanted, _retry_after(headers, now) or wanted)


def _retry_after(headers: Mapping[str, str], now: datetime) -> datetime | None:
    """RFC 9110 section 10.2.3: seconds or a date. At most LONGEST_WAIT from now."""
    said = headers.get("Retry-After", "").strip()
    if said.isdecimal():
        return now + timedelta(seconds=min(int(said[:9]), LONGEST_WAIT.total_seconds()))
    when = http_date(said)
    return None if when is None else min(when, now + LONGEST_WAIT)


def http_date(text: str | None) -> datetime | None:
    """A date of an HTTP header as UTC; None where there is none that can be read."""
    try:
        when = parsedate_to_datetime(text or "")
        return (when if when.tzinfo else when.replace(tzinfo=UTC)).astimezone(UTC)
    except (TypeError, ValueError, OverflowError):
        return None


def _reason(answer: Answer) -> str:
    """The words of a JSON error: `reason` (Open-Meteo), `detail` or `title` (RFC 9457). Empty for web pages."""
    if len(answer.body) > 20_000:
        return ""
    try:
        said = json.loads(answer.body)
    except (ValueError, RecursionError):
        return ""
    if not isinstance(said, dict):
        return ""
    found = next((said[key] for key in ("reason", "detail", "title") if isinstance(said.get(key), str)), "")
    return shown(found, 120).strip("'\"")
