"""Coordinates typed the wrong way round are noticed by the time zone, also where all lawns are."""

from pathlib import Path

import pytest

from config.load import load_estate
from config.problems import EstateInvalid
from tests.builders import lawn, write_estate


@pytest.mark.parametrize(
    ("zone", "latitude", "longitude"),
    [("Europe/London", -0.62, 51.48), ("Europe/Berlin", 13.4, 52.5), ("America/New_York", -74.0, 40.7)],
)
def test_every_exchanged_lawn_is_named(tmp_path: Path, zone: str, latitude: float, longitude: float) -> None:
    rows = [lawn(id=f"l{i}", latitude=latitude + i / 100, longitude=longitude) for i in range(3)]
    write_estate(tmp_path, timezone=zone, lawns=rows)
    with pytest.raises(EstateInvalid) as caught:
        load_estate(tmp_path, {})
    problems = [problem for problem in caught.value.problems if problem.field == "latitude"]
    assert [problem.row for problem in problems] == [2, 3, 4]


@pytest.mark.parametrize(
    ("zone", "latitude", "longitude"),
    [
        ("Europe/London", 51.48, -0.62), ("America/New_York", 40.7, -74.0), ("America/Anchorage", 61.2, -149.9),
        ("Australia/Sydney", -33.9, 151.2), ("Asia/Shanghai", 39.5, 76.0), ("Europe/Moscow", 55.7, 37.6),
        ("Africa/Nairobi", -1.3, 36.8), ("UTC", 36.0, 3.0), ("Europe/London", 36.1, -5.3), ("Asia/Kolkata", 12.9, 77.6),
    ],
)  # fmt: skip
def test_lawns_in_their_zone_are_taken_as_they_are(
    tmp_path: Path, zone: str, latitude: float, longitude: float
) -> None:
    write_estate(tmp_path, timezone=zone, lawns=[lawn(latitude=latitude, longitude=longitude)])
    assert load_estate(tmp_path, {}).lawns[0].latitude == latitude
