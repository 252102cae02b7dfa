"""Open-Meteo /v1/ensemble: the rain of every member of one ensemble model, to be joined to a forecast of the same cell.

Source: open-meteo.com/en/docs/ensemble-api. Models are named by the settings (`feed.ensemble`), as their names change.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

import numpy as np

from adapters.feeds import open_meteo, reading
from adapters.feeds.asking import Asking, Endpoint, Place
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import FIELDS, HOUR, Floats, Forecast, blank

MOST_MEMBERS = 200
DAYS = 10  # as the forecast; a place weighs no more for it
CHANCE_MM = 0.1
_VARIABLE = "precipitation"


class OpenMeteoEnsemble:
    """The ensemble product of one model. Not a feed of its own in the settings' order: see `combine`."""

    provider = "open-meteo-ensemble"
    attribution = open_meteo.OpenMeteo.attribution
    at_once = 60  # a place weighs a tenth of the member count in calls; 60 stay below the free host's 600 a minute
    pause_s = 1.0
    free_pause_s = 61.0
    keep_least = keep_unstated = timedelta(hours=6)  # ensembles run every 6 to 12 hours

    def requests(
        self, places: Sequence[Place], *, endpoint: Endpoint, now: datetime, known: Mapping[str, str]
    ) -> list[Asking]:
        """One request for each 20 places: rain alone, mm, whole UTC hours. The endpoint's query names the model."""
        own = {
            "hourly": _VARIABLE,
            "timezone": "GMT",
            "timeformat": "unixtime",
            "precipitation_unit": "mm",
            "forecast_days": str(DAYS),
        }
        step = self.at_once
        return [open_meteo.ask(places[i : i + step], own, endpoint) for i in range(0, len(places), step)]

    def split(self, body: bytes, count: int) -> list[bytes]:
        """The answers of `count` places, in the order asked. Raises FeedUnusable."""
        return open_meteo.split(body, count)

    def parse(self, body: bytes, *, latitude: float, longitude: float, received: datetime) -> Forecast:
        """Read one answer into a Forecast with `members_mm`. Its rain is their mean, its chance the share above 0.1 mm.

        The control run is one member. Members without a single value are left out. Raises FeedUnusable, also where the
        answer holds a mean or a spread but no members.
        """
        answer = open_meteo.nearest(reading.decode(body), (latitude, longitude))
        start, at = open_meteo.hours_of(answer)
        hourly, units = reading.part(answer, "hourly"), reading.part(answer, "hourly_units")
        keys = member_keys(hourly, _VARIABLE)
        if len(keys) > MOST_MEMBERS:
            raise FeedUnusable(f"the answer holds more than {MOST_MEMBERS} members")
        empty = blank(self.provider, latitude, longitude, received, start, int(at[-1]) + 1)
        members = np.full((len(keys), empty.hours), np.nan)
        for row, key in zip(members, keys, strict=True):
            if units.get(key) != "mm":
                raise FeedUnusable(f"the unit of {key[:40]} is unknown: {reading.shown(units.get(key))}")
            row[at - 1] = open_meteo.column(hourly, key)
        members = members[np.isfinite(members).any(axis=1)]
        if not len(members):
            raise FeedUnusable("no member of the ensemble has a value")
        check_members(members)
        reading.check_horizon(empty.end, received)
        known = np.isfinite(members).all(axis=0)
        return empty.with_(
            members_mm=members,
            rain_mm=np.where(known, np.where(known, members, 0.0).mean(axis=0), np.nan),
            chance=np.where(known, (np.where(known, members, 0.0) > CHANCE_MM).mean(axis=0), np.nan),
            chance_mm=CHANCE_MM,
            attribution=self.attribution,
            issue_stated=False,
            notes=(f"{len(members)} members",),
        )


def member_keys(hourly: Mapping[str, object], variable: str) -> list[str]:
    """The keys of a variable's members, all models of the answer together, the control run of each once.

    A key without a member number counts as control only beside members of the same model: `precipitation_spread` and
    the variables that begin alike have none. Raises FeedUnusable if there are no members.
    """
    numbered = re.compile(rf"{re.escape(variable)}_member\d{{2,}}((?:_[a-z0-9_]+)?)")
    members = {key: match.group(1) for key in hourly if (match := numbered.fullmatch(key))}
    controls = [variable + suffix for suffix in dict.fromkeys(members.values()) if variable + suffix in hourly]
    if not members:
        raise FeedUnusable("the answer holds no members")
    return [*controls, *members]


def check_members(members: Floats) -> None:
    """FeedUnusable if a member's rain leaves the bounds of an hour's rain; NaN passes."""
    _, low, high = FIELDS["rain_mm"]
    if ((members < low) | (members > high)).any():
        raise FeedUnusable("a member's rain cannot be weather")


def combine(forecast: Forecast, ensemble: Forecast) -> Forecast:
    """`forecast` with the members of `ensemble`, a forecast of the same place, set against its hours.

    Hours beyond the ensemble are NaN in every member: what is asked of them is unknown. Where no hour of the two is
    shared the forecast comes back as it is.
    """
    if ensemble.members_mm is None or forecast.start >= ensemble.end or ensemble.start >= forecast.end:
        return forecast
    offset = (ensemble.start - forecast.start) // HOUR
    here = np.arange(forecast.hours) - offset
    inside = (here >= 0) & (here < ensemble.hours)
    members = np.full((len(ensemble.members_mm), forecast.hours), np.nan)
    members[:, inside] = ensemble.members_mm[:, here[inside]]
    credits = dict.fromkeys(text for text in (forecast.attribution, ensemble.attribution) if text)
    notes = (*forecast.notes, f"rain chances from {', '.join(ensemble.notes) or 'an ensemble'}")
    return forecast.with_(members_mm=members, attribution="; ".join(credits), notes=notes)
