"""Invented weather as the bytes of a feed: Open-Meteo's shape, with the rain of an ensemble's members beside it.

Every cell has its own seed, so that the same command always serves the same bytes.
"""

import json
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np

from scheduler.weather.forecast import Floats
from tests.bench.invented import NOW

PAST_H, AHEAD_H = 53, 240  # from midnight two days ago to midnight ten days on, as the request asks
HOURS = PAST_H - 5 + AHEAD_H


@dataclass(frozen=True)
class Served:
    """One place: its forecast and its ensemble (b"" without members), each one JSON object."""

    forecast: bytes
    ensemble: bytes


def served(centres: list[tuple[float, float]], members: int) -> dict[tuple[float, float], Served]:
    """(latitude, longitude) -> the answers for that place, with `members` members (0: none)."""
    return {place: _place(i, place, members) for i, place in enumerate(centres)}


def _place(seed: int, place: tuple[float, float], members: int) -> Served:
    draw = np.random.default_rng(seed)
    rain = _rain(draw, max(members, 1))
    forecast = _answer(place, _forecast(draw, rain), 0)
    if not members:
        return Served(forecast, b"")
    names = ["precipitation", *(f"precipitation_member{m:02d}" for m in range(1, members))]
    ahead = rain[:, PAST_H - 5 :]
    hourly = {name: [None, *row] for name, row in zip(names, np.round(ahead, 1).tolist(), strict=True)}
    return Served(forecast, _answer(place, {name: (values, "mm") for name, values in hourly.items()}, PAST_H - 5))


def _answer(place: tuple[float, float], columns: dict[str, tuple[list[Any], str]], first: int) -> bytes:
    start = int((NOW.replace(hour=0) - timedelta(days=2)).timestamp())
    stamps = [start + 3600 * t for t in range(first, HOURS + 1)]
    answer = {
        "latitude": place[0],
        "longitude": place[1],
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "elevation": 40.0,
        "hourly_units": {"time": "unixtime", **{name: unit for name, (_, unit) in columns.items()}},
        "hourly": {"time": stamps, **{name: values for name, (values, _) in columns.items()}},
    }
    return json.dumps(answer, separators=(",", ":")).encode()


def _rain(draw: np.random.Generator, members: int) -> Floats:
    """mm per hour, (members, HOURS): a few wet spells, earlier or later and heavier or lighter in each member."""
    hours = np.arange(HOURS)
    rain = np.zeros((members, HOURS))
    for _ in range(draw.integers(2, 7)):
        begin, length, mm = draw.integers(0, HOURS), draw.integers(2, 14), draw.gamma(0.8, 0.9)
        shift = draw.normal(0.0, 0.5 + 0.04 * max(0, begin - PAST_H), members)
        amount = mm * draw.lognormal(0.0, 0.5, members) * (draw.random(members) < 0.9)
        inside = (hours >= begin + shift[:, None]) & (hours < begin + length + shift[:, None])
        rain += np.where(inside, amount[:, None], 0.0)
    return np.minimum(rain, 30.0)


def _forecast(draw: np.random.Generator, rain: Floats) -> dict[str, tuple[list[Any], str]]:
    """The ten variables of a forecast, stamped as the feed does: sums and gusts at the end of their hour."""
    hour = np.arange(HOURS) % 24
    day = np.cos(2 * np.pi * (hour - 15) / 24)
    temperature = draw.normal(13.0, 2.5) + 5.0 * day + draw.normal(0.0, 0.3, HOURS)
    humidity = np.clip(70.0 - 18.0 * day + 12.0 * (rain[0] > 0.1) + draw.normal(0.0, 3.0, HOURS), 20.0, 99.0)
    wind = np.abs(draw.normal(3.0, 1.0) + 1.2 * day + draw.normal(0.0, 0.4, HOURS))
    chance = np.clip((rain > 0.1).mean(axis=0) * 100 + draw.integers(0, 4, HOURS), 0, 100)
    now = {
        "temperature_2m": (temperature, 1, "°C"),
        "relative_humidity_2m": (humidity, 0, "%"),
        "dew_point_2m": (temperature - (100.0 - humidity) / 5.0, 1, "°C"),
        "wind_speed_10m": (wind, 1, "m/s"),
        "cloud_cover": (np.clip(50 + 40 * np.sin(np.arange(HOURS) / 17 + draw.random()), 0, 100), 0, "%"),
        "soil_temperature_6cm": (temperature - 1.0, 1, "°C"),
    }
    before = {
        "precipitation": (rain[0], 1, "mm"),
        "precipitation_probability": (chance, 0, "%"),
        "wind_gusts_10m": (wind * 1.6, 1, "m/s"),
        "et0_fao_evapotranspiration": (np.clip(0.2 * day, 0.0, None), 2, "mm"),
    }
    return {
        **{name: ([*_numbers(values, digits), None], unit) for name, (values, digits, unit) in now.items()},
        **{name: ([None, *_numbers(values, digits)], unit) for name, (values, digits, unit) in before.items()},
    }


def _numbers(values: Floats, digits: int) -> list[Any]:
    rounded = np.round(values, digits).tolist()
    return [int(value) for value in rounded] if digits == 0 else rounded
