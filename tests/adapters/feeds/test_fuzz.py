"""Answers damaged at random: a parser gives a whole, sane Forecast or FeedUnusable, and nothing else."""

import copy
import json
import random
import resource
import sys
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.feeds.registry import feed_named
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import FIELDS, Forecast
from tests.adapters.feeds.answers import (
    LATITUDE,
    LONGITUDE,
    Values,
    body,
    met_norway_answer,
    open_meteo_answer,
    weather,
)
from tests.adapters.feeds.answers_other import (
    bright_sky_answer,
    ensemble_answer,
    nws_answer,
    nws_point,
    six_hour_chances,
)

NOW = datetime(2026, 5, 4, 5, 20, tzinfo=UTC)
TABLE = weather("2026-05-04T00:00", 42, rain_mm={9: 1.25, 31: 4.0}, chance={9: 0.7, 31: 0.4}, temperature_c={7: None})
EACH = 5000

GIGANTIC = "@1e400@"  # json.dumps cannot write it; put in by text
ODD: list[Any] = [
    *(None, True, False, "", "x", "NaN", "1.5", "2026-05-04T07:00:00Z", "2026-05-04T07:30:00Z", "0001-01-01T00:00:00Z"),
    *(
        "9999-12-31T23:59:59+00:00",
        "2026-05-04T07:00:00+00:00/PT6H",
        "P1D",
        "mm",
        "wmoUnit:degF",
        "undefined",
        "\ud800",
        "\0",
    ),
    *(
        0,
        1,
        -1,
        0.5,
        -0.0,
        1e-320,
        99.9,
        100.1,
        1e5,
        1e17,
        1e300,
        2**63,
        10**400,
        1777852800,
        1777852801,
        1782799200,
        -62135596800,
    ),
    *(
        float("nan"),
        float("inf"),
        float("-inf"),
        GIGANTIC,
        [],
        {},
        [[]],
        [None],
        {"values": [None]},
        [1, 2],
        [{"id": 2}],
    ),
]


def answers() -> dict[str, list[bytes]]:
    """Good answers to start from, several shapes of each feed."""
    six = bright_sky_answer(TABLE, observed=3)
    six_hour_chances(six, 0.3)
    members: list[Values] = [TABLE["rain_mm"], [0.0] * 42, [None] * 42]
    shapes: dict[str, list[Any]] = {
        "open-meteo": [
            open_meteo_answer(TABLE, current=NOW),
            open_meteo_answer(TABLE, iso=True, offset_s=7200, suffix="_gfs_seamless"),
            [open_meteo_answer(TABLE), open_meteo_answer(TABLE, latitude=40.0)],
        ],
        "met-norway": [met_norway_answer(TABLE, hourly=20, high_factor=2.0, six_extra_mm={3: 0.9})],
        "nws": [nws_answer(TABLE, rain_hours=36), nws_answer(TABLE, rain_h=1)],
        "bright-sky": [bright_sky_answer(TABLE, observed=6), six],
        "open-meteo-ensemble": [ensemble_answer(TABLE, members), ensemble_answer(TABLE, members, suffix="_icon_eps")],
    }
    return {provider: [body(answer) for answer in made] for provider, made in shapes.items()}


ANSWERS = answers()


def damaged(raw: bytes, rng: random.Random) -> bytes:
    """One to three faults in the values, or in the bytes."""
    if rng.random() < 0.2:
        return _damaged_bytes(bytearray(raw), rng)
    answer = json.loads(raw)
    for _ in range(rng.randint(1, 3)):
        answer = _damaged_value(answer, rng)
    return json.dumps(answer).replace(json.dumps(GIGANTIC), "1e400").encode()


def _damaged_bytes(raw: bytearray, rng: random.Random) -> bytes:
    at = rng.randrange(len(raw))
    kind = rng.randrange(4)
    if kind == 0:
        del raw[at:]
    elif kind == 1:
        del raw[at : at + rng.randint(1, 40)]
    elif kind == 2:
        raw[at] = rng.randrange(256)
    else:
        raw[at:at] = rng.choice([b"[" * 50_000, b'{"a":' * 20_000, b"9" * 6000, b",", b"}", b"NaN", b"\xff", b"1e999"])
    return bytes(raw)


def _damaged_value(answer: Any, rng: random.Random) -> Any:
    parents = _containers(answer)
    if not parents:
        return copy.deepcopy(rng.choice(ODD))
    parent = rng.choice(parents)
    if isinstance(parent, dict):
        _damage_dict(parent, rng)
    else:
        _damage_list(parent, rng)
    return answer


def _damage_dict(parent: dict[str, Any], rng: random.Random) -> None:
    key = rng.choice(list(parent))
    kind = rng.randrange(5)
    if kind == 0:
        del parent[key]
    elif kind == 1:
        parent[key + rng.choice(["_member01", "_spread", "_icon", "x"])] = parent[key]
    elif kind == 2 and isinstance(parent[key], int | float):
        parent[key] = parent[key] * rng.choice([-1, 0.1, 3.6, 10, 1000])
    else:
        parent[key] = copy.deepcopy(rng.choice(ODD))


def _damage_list(parent: list[Any], rng: random.Random) -> None:
    at, other = rng.randrange(len(parent)), rng.randrange(len(parent))
    kind = rng.randrange(6)
    if kind == 0:
        del parent[at]
    elif kind == 1:
        parent.insert(at, parent[other])
    elif kind == 2:
        parent[at], parent[other] = parent[other], parent[at]
    elif kind == 3 and rng.random() < 0.2:
        parent *= 60
    else:
        parent[at] = copy.deepcopy(rng.choice(ODD))


def _containers(answer: Any) -> list[Any]:
    """Every object and array that holds something; nested ones as likely as outer ones."""
    found, open_ones = [], [answer]
    while open_ones:
        one = open_ones.pop()
        if isinstance(one, dict | list) and one:
            found.append(one)
            open_ones.extend(one.values() if isinstance(one, dict) else one)
    return found


def read(provider: str, raw: bytes) -> Forecast | None:
    """The forecast, checked; None if the answer was refused."""
    try:
        forecast = feed_named(provider).parse(raw, latitude=LATITUDE, longitude=LONGITUDE, received=NOW)
    except FeedUnusable as refusal:
        assert str(refusal).isprintable()
        assert 0 < len(str(refusal)) < 250
        return None
    check(forecast)
    return forecast


def check(forecast: Forecast) -> None:
    hours = forecast.hours
    assert 0 < hours <= 2400
    for name, (_, low, high) in FIELDS.items():
        values = getattr(forecast, name)
        assert values.shape == (hours,)
        assert not np.isinf(values).any()
        assert not ((values < low) | (values > high)).any()
    if forecast.members_mm is not None:
        assert forecast.members_mm.shape[1] == hours
        assert not np.isinf(forecast.members_mm).any()
        assert not ((forecast.members_mm < 0.0) | (forecast.members_mm > FIELDS["rain_mm"][2])).any()
    starts = forecast.period_start
    assert ((starts >= 0) & (starts <= np.arange(hours))).all()
    assert (starts[starts] == starts).all()  # a period starts with an hour of its own
    for period in (forecast.rain_mm, forecast.chance):
        np.testing.assert_array_equal(period, period[starts])  # and is the same throughout
    assert forecast.start.utcoffset() == timedelta(0)
    assert (forecast.start.minute, forecast.start.second, forecast.start.microsecond) == (0, 0, 0)
    assert forecast.issued <= NOW + timedelta(hours=1)
    assert forecast.end <= NOW + timedelta(days=41)


def run(provider: str, count: int, seed: int) -> tuple[int, int]:
    """How many damaged answers were still read, and how many refused."""
    rng = random.Random(seed)
    outcomes = [read(provider, damaged(rng.choice(ANSWERS[provider]), rng)) is not None for _ in range(count)]
    return sum(outcomes), count - sum(outcomes)


@pytest.mark.parametrize("provider", sorted(ANSWERS))
def test_good_answers_are_read(provider: str) -> None:
    assert all(read(provider, raw) is not None for raw in ANSWERS[provider])


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32), provider=st.sampled_from(sorted(ANSWERS)))
def test_a_damaged_answer_is_read_whole_or_refused(seed: int, provider: str) -> None:
    run(provider, 5, seed)


@pytest.mark.slow
@pytest.mark.parametrize("provider", sorted(ANSWERS))
def test_thousands_of_damaged_answers_are_read_or_refused_in_bounded_memory(provider: str) -> None:
    run(provider, 200, seed=1)
    before = peak_bytes()
    good, refused = run(provider, EACH, seed=20260504)
    assert refused > EACH / 20  # the damage is real
    assert good > EACH / 20  # and does not kill everything before the parser is reached
    assert peak_bytes() - before < 50_000_000


def peak_bytes() -> int:
    """Largest memory of this process so far."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak if sys.platform == "darwin" else peak * 1024


@settings(max_examples=200, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_a_damaged_look_up_names_a_sane_cell_or_is_refused(seed: int) -> None:
    rng = random.Random(seed)
    feed: Any = feed_named("nws")
    try:
        known = feed.learn(damaged(body(nws_point()), rng), (LATITUDE, LONGITUDE), NOW)
    except FeedUnusable:
        return
    office, cell = known["grid"].split("/")
    x, y = cell.split(",")
    assert (len(office), x.isdecimal(), y.isdecimal()) == (3, True, True)


@settings(max_examples=300, deadline=None)
@given(raw=st.binary(max_size=200) | st.text(max_size=200).map(str.encode), provider=st.sampled_from(sorted(ANSWERS)))
def test_noise_is_refused(raw: bytes, provider: str) -> None:
    assert read(provider, raw) is None


rains = st.lists(st.none() | st.floats(0, 40).map(lambda x: round(x, 1)), min_size=36, max_size=36)


@settings(max_examples=60, deadline=None)
@given(rain=rains)
def test_every_feed_tells_the_same_rain_from_the_same_table(rain: list[float | None]) -> None:
    table = weather("2026-05-04T00:00", 36, rain_mm=rain, chance=0.5)
    told = {
        "open-meteo": open_meteo_answer(table),
        "met-norway": met_norway_answer(table, hourly=36),
        "nws": nws_answer(table, rain_h=1),
        "bright-sky": bright_sky_answer(table),
    }
    for provider, answer in told.items():
        forecast = read(provider, body(answer))
        assert forecast is not None, provider
        first = forecast.index(table.start)
        np.testing.assert_allclose(
            forecast.rain_mm[first : first + 36], np.array(rain, float), atol=1e-6, err_msg=provider
        )
