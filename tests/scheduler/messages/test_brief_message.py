"""What people read: every verdict, every caution, hostile names as text, units, trial and late notes."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from config.models import Estate
from scheduler.messages import show
from scheduler.messages.brief import message_for, shared_cautions
from scheduler.morning import brief_for
from scheduler.values import CellWeather, Message
from scheduler.weather.cells import cell_of
from scheduler.weather.forecast import HOUR, Forecast
from tests.builders import build_estate, combined, granular, lawn, liquid, person
from tests.weather import mild

MIDNIGHT = datetime(2026, 5, 4, tzinfo=UTC)
NOW = datetime(2026, 5, 4, 5, tzinfo=UTC)


def estate_of(folder: Path, **changes: object) -> Estate:
    steps = [
        {"product": name, "from": "04-01", "to": "09-30"} for name in ("leaf-feed", "spring-grain", "three-in-one")
    ]
    return build_estate(
        folder, timezone="Europe/London", lawns=[lawn(programme="all", irrigation="none", round=None, **changes)],
        products=[liquid(), granular(), combined()], programmes=[{"id": "all", "hemisphere": "north", "steps": steps}],
        people=[person()],
    )  # fmt: skip


def message(estate: Estate, forecast: Forecast | None, *, trial: bool = False, delayed: bool = False) -> Message:
    spot = estate.lawns[0]
    cell = cell_of(spot.latitude, spot.longitude)
    weather = {} if forecast is None else {cell: CellWeather(cell, forecast.with_(issued=NOW - HOUR), "fresh")}
    told = brief_for(estate, estate.people[0], NOW, weather, [])
    return message_for(told, estate, estate.people[0], trial=trial, delayed=delayed)


def test_a_go_says_when_how_much_and_what_to_mind(tmp_path: Path) -> None:
    told = message(estate_of(tmp_path), mild(MIDNIGHT))
    for part in (told.text, told.html):
        assert "GO 07:00-18:00" in part
        assert "420 ml" in part
        assert "7.2 l" in part
        assert "children and pets" in part
        assert "label and local law" in part
    assert "1 go" in told.title


def test_a_hold_says_why_and_when_to_look_again(tmp_path: Path) -> None:
    wet = range(6, 24)
    told = message(estate_of(tmp_path), mild(MIDNIGHT, rain=dict.fromkeys(wet, 1.0), chance_at=dict.fromkeys(wet, 0.9)))
    assert "HOLD" in told.text
    assert "accepted: 15 %" in told.text
    assert "look again" in told.text
    assert "Tue" in told.text or "tomorrow" in told.text


def test_without_weather_nobody_is_told_to_go(tmp_path: Path) -> None:
    told = message(estate_of(tmp_path), None)
    assert "GO" not in told.text.replace("NO DATA", "")
    assert told.text.count("Do not apply on this") == 1  # the same is said once, of all three
    assert all(name in told.text for name in ("Leaf Feed", "Spring Grain", "Three in One"))


def test_hostile_names_are_shown_as_text_and_break_no_line(tmp_path: Path) -> None:
    name = '<script>alert(1)</script> & "=HYPERLINK(1)" [x](javascript:1) @everyone'
    told = message(estate_of(tmp_path, name=name), mild(MIDNIGHT))
    assert name in told.text
    assert "<script>" not in told.html
    assert "&lt;script&gt;" in told.html
    assert "\n" not in told.title


def test_trial_and_late_messages_say_so(tmp_path: Path) -> None:
    estate = estate_of(tmp_path)
    assert "TRIAL" in message(estate, mild(MIDNIGHT), trial=True).text
    assert "late" in message(estate, mild(MIDNIGHT), delayed=True).text
    plain = message(estate, mild(MIDNIGHT)).text
    assert "TRIAL" not in plain
    assert "late" not in plain.replace("later", "")


def test_the_feed_is_credited(tmp_path: Path) -> None:
    told = message(estate_of(tmp_path), mild(MIDNIGHT).with_(attribution="Data by a feed, CC BY 4.0"))
    assert "Data by a feed, CC BY 4.0" in told.text
    assert "Data by a feed, CC BY 4.0" in told.html


def test_us_readers_read_us_units(tmp_path: Path) -> None:
    told = message(estate_of(tmp_path).model_copy(update={"units": "us"}), mild(MIDNIGHT))
    assert "fl oz" in told.text
    assert " ml" not in told.text
    assert " mm" not in told.text


def test_a_message_stays_short_enough_for_a_phone(tmp_path: Path) -> None:
    told = message(estate_of(tmp_path), mild(MIDNIGHT))
    assert len(told.title) <= 78
    assert len(told.text) < 1800  # what the shortest of the usual chat channels takes


def test_cautions_are_said_once_and_only_for_what_may_be_done(tmp_path: Path) -> None:
    estate = estate_of(tmp_path)
    spot = estate.lawns[0]
    cell = cell_of(spot.latitude, spot.longitude)
    weather = {cell: CellWeather(cell, mild(MIDNIGHT).with_(issued=NOW - HOUR), "fresh")}
    told = brief_for(estate, None, NOW, weather, [])
    texts = [text for text, _ in shared_cautions(told.lines)]
    assert len(texts) == len(set(texts))
    held = [line for line in told.lines if line.verdict != "go"]
    assert held
    assert shared_cautions(held) == []


@pytest.mark.parametrize(
    ("ml", "metric", "us"), [(420, "420 ml", "14.2 fl oz"), (3600, "3.6 l", "122 fl oz"), (36000, "36 l", "9.51 gal")]
)
def test_amounts_read_as_people_write_them(ml: float, metric: str, us: str) -> None:
    # 1 US fl oz = 29.5735 ml, 1 US gal = 3.78541 l (NIST SP 811, from memory)
    assert show.volume(ml, "metric") == metric
    assert show.volume(ml, "us") == us


def test_a_chance_is_never_rounded_to_certainty() -> None:
    assert [show.percent(x) for x in (0.0, 0.004, 0.154, 0.996, 1.0)] == [
        "below 1 %",
        "below 1 %",
        "15 %",
        "over 99 %",
        "over 99 %",
    ]


def test_a_day_is_named_in_the_lawns_own_time(tmp_path: Path) -> None:
    estate = build_estate(tmp_path, timezone="Pacific/Auckland", lawns=[lawn(latitude=-36.9, longitude=174.7)])
    late = datetime(2026, 5, 4, 20, tzinfo=UTC)  # 5 May there
    told = brief_for(estate, estate.people[0], late, {}, [])
    assert told.local_date.isoformat() == "2026-05-05"
    assert timedelta(0) < late - NOW < timedelta(days=1)


def test_a_picture_is_shown_by_what_comes_with_the_mail_and_said_in_words(tmp_path: Path) -> None:
    estate = estate_of(tmp_path, name='"><script>Lawn')
    told = brief_for(estate, estate.people[0], NOW, {}, [])
    sent = message_for(told, estate, None, trial=False, delayed=False, pictures={"front": b"png"})
    ((cid, png),) = sent.pictures
    assert png == b"png"
    assert f'src="cid:{cid}"' in sent.html
    assert 'alt="The coming days of &#34;&gt;&lt;script&gt;Lawn' in sent.html
    assert "<script" not in sent.html
    assert "http" not in sent.html.split("<img")[1].split(">")[0]
