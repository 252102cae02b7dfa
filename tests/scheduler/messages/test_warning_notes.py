"""Weather warnings in the morning message: in force or near, by lawn, said once."""

from datetime import UTC, datetime
from pathlib import Path

from scheduler.messages.brief import message_for
from scheduler.morning import brief_for
from scheduler.values import CellWeather, Message, WeatherWarning
from scheduler.weather.cells import cell_of
from scheduler.weather.forecast import HOUR
from tests.builders import build_estate, lawn, liquid, programme
from tests.weather import mild

NOW = datetime(2026, 5, 4, 11, tzinfo=UTC)  # 06:00 in Chicago
FIRST, SECOND = (41.0, -88.0), (42.0, -88.0)


def message(folder: Path, *warned: tuple[WeatherWarning, ...] | None) -> Message:
    """A brief for two lawns in different cells, with the warnings of each."""
    rows = [
        lawn(id=f"l{n}", name=f"Lawn {n}", latitude=north, longitude=east)
        for n, (north, east) in enumerate((FIRST, SECOND))
    ]
    steps = [{"product": "leaf-feed", "from": "04-01", "to": "09-30"}]
    estate = build_estate(
        folder, timezone="America/Chicago", lawns=rows, products=[liquid()], programmes=[programme(steps=steps)]
    )
    weather = {}
    for (north, east), warnings in zip((FIRST, SECOND), warned, strict=True):
        cell = cell_of(north, east)
        forecast = mild(NOW - HOUR, latitude=north, longitude=east)
        weather[cell] = CellWeather(cell, forecast, "fresh", warnings=warnings)
    told = brief_for(estate, None, NOW, weather, [])
    assert len(told.lines) == 2
    return message_for(told, estate, None, trial=False, delayed=False)


def test_a_warning_in_force_is_named_with_its_end_and_its_lawns(tmp_path: Path) -> None:
    warning = WeatherWarning("Flash Flood Warning", NOW - HOUR, NOW + 9 * HOUR)
    told = message(tmp_path, (warning,), ())
    for part in (told.text, told.html):
        assert "Flash Flood Warning in force until Mon 4 May 15:00" in part
        assert "National Weather Service): Lawn 0." in part


def test_a_warning_on_every_lawn_is_said_once_without_names(tmp_path: Path) -> None:
    warning = WeatherWarning("Freeze Watch", NOW + 3 * HOUR, None)
    told = message(tmp_path, (warning,), (warning,))
    assert told.text.count("Freeze Watch") == 1
    assert "Freeze Watch from Mon 4 May 09:00 (US" in told.text
    assert "Service)." in told.text


def test_a_warning_for_days_ahead_and_places_without_any_say_nothing(tmp_path: Path) -> None:
    later = WeatherWarning("Flood Watch", NOW + 30 * HOUR, None)
    assert "National Weather Service" not in message(tmp_path, (later,), None).text


def test_a_hostile_name_stays_text(tmp_path: Path) -> None:
    told = message(tmp_path, (WeatherWarning("<script>x</script>", NOW, None),), ())
    assert "<script>" not in told.html
    assert "&lt;script&gt;" in told.html
