"""Watches, warnings and advisories of the US National Weather Service for one place."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import requests

from adapters.feeds import failures as fail
from adapters.feeds import reading
from adapters.feeds.asking import cut, endpoint, headers
from adapters.feeds.http import Answer, get, new_session
from config.models import Feed
from scheduler.ports import FeedUnusable

ALERTS = "nws-alerts"  # the name under which answers are kept
SEVERITIES = ("Extreme", "Severe", "Moderate", "Minor", "Unknown")
MOST_ALERTS = 500


@dataclass(frozen=True)
class Alert:
    """One alert in force or to come. `ends` is None where the service gives no end at all."""

    event: str
    severity: str
    onset: datetime
    ends: datetime | None


def alerts(
    latitude: float,
    longitude: float,
    *,
    feed: Feed,
    environ: Mapping[str, str],
    now: datetime,
    session: requests.Session | None = None,
    allow_local: bool = False,
) -> tuple[Alert, ...]:
    """The actual alerts for a place [degrees] that have not ended at `now`, the most severe first.

    Raises FeedUnavailable (no answer), FeedUnusable (an answer that cannot be read).
    """
    asked = endpoint("nws", feed, environ)
    made = session or new_session()
    try:
        answer = ask_alerts(made, latitude, longitude, feed=feed, environ=environ, allow_local=allow_local)
    finally:
        if session is None:
            made.close()
    if answer.status != 200:
        raise fail.failure_of(answer, asked.host, now=now, failures=0)
    return read_alerts(answer.body, now)


def ask_alerts(
    session: requests.Session,
    latitude: float,
    longitude: float,
    *,
    feed: Feed,
    environ: Mapping[str, str],
    allow_local: bool = False,
) -> Answer:
    """The answer for a place [degrees], whatever its status. Raises FeedUnavailable where there is none."""
    asked = endpoint("nws", feed, environ).below("/alerts/active")
    own = {"point": f"{cut(latitude)},{cut(longitude)}", "status": "actual"}
    sent = headers(feed.contact, {"Accept": "application/geo+json"})
    return get(session, asked.url, asked.params(own), sent, allow_local=allow_local)


def read_alerts(body: bytes, now: datetime) -> tuple[Alert, ...]:
    """The alerts of an answer of /alerts/active. Raises FeedUnusable: half a list of warnings is none."""
    answer = reading.decode(body)
    if not isinstance(answer, dict) or answer.get("type") != "FeatureCollection":
        raise FeedUnusable("the answer is not a list of alerts")
    features = reading.rows(answer, "features")
    if len(features) > MOST_ALERTS:
        raise FeedUnusable("the answer holds more alerts than there can be")
    found = [_alert(reading.part(one, "properties")) for one in features]
    open_ones = {alert for alert in found if alert and (alert.ends is None or alert.ends > now)}
    return tuple(sorted(open_ones, key=lambda a: (SEVERITIES.index(a.severity), a.onset, a.event)))


def _alert(properties: reading.Json) -> Alert | None:
    """One alert; None for exercises, drafts and cancellations."""
    if properties.get("status") != "Actual" or properties.get("messageType") == "Cancel":
        return None
    event = properties.get("event")
    if not isinstance(event, str) or not event.strip():
        raise FeedUnusable("an alert has no name")
    severity = properties.get("severity")
    onset = _first(properties, "onset", "effective", "sent")
    if onset is None:
        raise FeedUnusable("an alert has no beginning")
    plain = "".join(c for c in event if c.isprintable()).strip()[:80]
    return Alert(plain, severity if severity in SEVERITIES else "Unknown", onset, _first(properties, "ends", "expires"))


def _first(properties: reading.Json, *names: str) -> datetime | None:
    """The first of these times that is given. `ends` may be null; then `expires` counts (openapi.json)."""
    given = next((properties[name] for name in names if properties.get(name) is not None), None)
    return None if given is None else reading.instant(given, "a time of an alert")
