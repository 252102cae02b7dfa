"""The service as people run it: one morning, from the feed's bytes to what arrives."""

import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.builders import person
from tests.whole.trial import ROOT, met_body, met_norway, stop, trial, until

pytestmark = pytest.mark.slow

DUE = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)  # 06:00 in London
SECOND = timedelta(seconds=1)
BOTH = ["${HOOK}/ines", "${MAIL}"]


def test_the_brief_arrives_once_per_person_and_channel_when_it_is_due(tmp_path: Path) -> None:
    with trial(tmp_path, met_norway(DUE)) as at:
        at.write(people=[person(reach=BOTH), person(id="otto", name="Otto", reach=["${HOOK}/otto"])])
        service = at.start(DUE - 6 * SECOND)
        until(lambda: "started for" in at.said(), "the start")
        assert at.hook.arrivals == []
        until(lambda: len(at.hook.arrivals) == 2 and len(at.post.mails) == 1, "both briefs")
        time.sleep(5)  # long enough for a second one
        assert stop(service) == 0
        assert sorted(arrival.path for arrival in at.hook.arrivals) == ["/planted-token/ines", "/planted-token/otto"]
        assert len(at.post.mails) == 1
        rows = at.rows()
        assert [row.state for row in rows] == ["sent"] * 3
        assert all(row.sent_at is not None and DUE <= row.sent_at < DUE + 30 * SECOND for row in rows)
        mail = at.post.mails[0].get_body(("plain",))
        assert mail is not None
        assert "GO" in mail.get_content()
        assert "TRIAL" in mail.get_content()
        pictures = [part.get_content() for part in at.post.mails[0].walk() if part.get_content_type() == "image/png"]
        assert len(pictures) == 1, "of the one lawn"
        assert pictures[0].startswith(b"\x89PNG")
        assert "planted" not in at.said()
        assert at.is_whole()


def test_what_is_sent_is_what_the_brief_command_decides(tmp_path: Path) -> None:
    with trial(tmp_path, met_norway(DUE)) as at:
        at.write(people=[person(reach=BOTH[:1])])
        service = at.start(DUE)
        until(lambda: len(at.hook.arrivals) == 1, "the brief")
        stop(service)
        command = [sys.executable, "-m", "adapters.cli.main", "--estate", str(at.folder)]
        command += ["brief", "--person", "ines", "--now", DUE.isoformat()]
        shown = subprocess.run(command, env=at.environ, cwd=ROOT, capture_output=True, check=False).stdout.decode()
        signs = [line.split("  ")[0] for line in shown.splitlines() if line.startswith(("▲", "■", "?"))]
        sent = at.hook.arrivals[0].body["message"]
        assert signs
        assert [line.split("  ")[0] for line in sent.splitlines() if line.startswith(("▲", "■", "?"))] == signs


def test_started_late_it_sends_one_brief_and_says_so(tmp_path: Path) -> None:
    with trial(tmp_path, met_norway(DUE + timedelta(minutes=40))) as at:
        at.write(people=[person(reach=BOTH[:1])])
        service = at.start(DUE + timedelta(minutes=40))
        until(lambda: len(at.hook.arrivals) == 1, "the brief")
        assert stop(service) == 0
        assert "late" in at.hook.arrivals[0].body["message"]
        assert "NO DATA" not in at.hook.arrivals[0].body["message"]  # the feed was asked first


def test_started_much_too_late_it_sends_nothing_and_keeps_a_record(tmp_path: Path) -> None:
    with trial(tmp_path, met_norway(DUE + timedelta(hours=7))) as at:
        at.write(people=[person(reach=BOTH)])
        service = at.start(DUE + timedelta(hours=7))
        until(lambda: "came too late" in at.said(), "the record")
        time.sleep(3)
        assert stop(service) == 0
        assert at.hook.arrivals == at.post.mails == []
        assert [row.state for row in at.rows()] == ["expired", "expired"]


def test_after_three_days_down_there_is_one_brief_and_no_burst(tmp_path: Path) -> None:
    with trial(tmp_path, met_norway(DUE)) as at:
        at.write(people=[person(reach=BOTH[:1])])
        for days in (0, 3):
            service = at.start(DUE + timedelta(days=days))
            until(lambda count=1 + days // 3: len(at.hook.arrivals) == count, f"the brief of day {days}")
            time.sleep(3)
            stop(service)
        assert len(at.hook.arrivals) == 2
        assert len({arrival.key for arrival in at.hook.arrivals}) == 2


def test_a_second_service_on_the_same_database_ends_with_two(tmp_path: Path) -> None:
    with trial(tmp_path, met_norway(DUE)) as at:
        at.write(people=[person(reach=BOTH[:1])])
        first = at.start(DUE - timedelta(hours=2))
        until(lambda: "started for" in at.said(), "the start")
        assert at.start(DUE).wait(30) == 2
        assert "another ligule run" in at.said()
        assert stop(first) == 0


def test_asked_to_stop_during_a_send_it_records_it_first(tmp_path: Path) -> None:
    with trial(tmp_path, met_norway(DUE)) as at:
        at.hook.behave = lambda _path, _n: 3.0
        at.write(people=[person(reach=BOTH[:1])])
        service = at.start(DUE)
        until(lambda: len(at.hook.arrivals) == 1, "the send")
        assert stop(service) == 0
        assert [row.state for row in at.rows()] == ["sent"]
        service = at.start(DUE + 30 * SECOND)
        time.sleep(5)
        assert stop(service) == 0
        assert len(at.hook.arrivals) == 1


def test_a_channel_that_fails_first_gets_it_a_minute_later_with_the_same_key(tmp_path: Path) -> None:
    with trial(tmp_path, met_norway(DUE)) as at:
        at.hook.behave = lambda _path, n: 503 if n == 1 else 200
        at.post.answer = lambda n: "451 4.3.0 try later" if n == 1 else "250 taken"
        at.write(people=[person(reach=[*BOTH, "${HOOK}/dead"])])
        at.hook.behave = lambda path, n: 400 if path.endswith("/dead") else 503 if n == 1 else 200
        service = at.start(DUE)
        until(lambda: len(at.hook.arrivals) == 3 and len(at.post.mails) == 2, "the second tries", seconds=90)
        time.sleep(3)
        assert stop(service) == 0
        assert len({mail["Message-ID"] for mail in at.post.mails}) == 1
        assert len({a.key for a in at.hook.arrivals if a.path.endswith("/ines")}) == 1
        assert sorted(row.state for row in at.rows()) == ["dead", "sent", "sent"]


def test_a_database_that_another_program_locks_for_a_while_loses_nothing(tmp_path: Path) -> None:
    with trial(tmp_path, met_norway(DUE)) as at:
        at.write(people=[person(reach=BOTH)])
        service = at.start(DUE - 5 * SECOND)
        until(lambda: "1 new" in at.said(), "the forecast")
        with closing(sqlite3.connect(at.folder / "ligule.db", isolation_level=None)) as connection:
            connection.execute("BEGIN IMMEDIATE")
            time.sleep(14)
            connection.execute("ROLLBACK")
        until(lambda: len(at.hook.arrivals) == 1 and len(at.post.mails) == 1, "the brief")
        time.sleep(3)
        assert stop(service) == 0
        assert (len(at.hook.arrivals), len(at.post.mails)) == (1, 1)
        assert "locked" in at.said()


def test_a_changed_estate_counts_from_the_next_look_on(tmp_path: Path) -> None:
    with trial(tmp_path, met_norway(DUE)) as at:
        at.write(people=[person(reach=BOTH[:1], brief_at="09:00")])
        service = at.start(DUE)
        until(lambda: "1 new" in at.said(), "the forecast")
        at.write(people=[person(reach=BOTH[:1], brief_at="25:99")])
        until(lambda: "stays in force" in at.said(), "the refusal")
        at.write(people=[person(reach=BOTH[:1], brief_at="06:00")])
        until(lambda: len(at.hook.arrivals) == 1, "the brief at its new time")
        assert stop(service) == 0


def test_rain_in_the_forecast_turns_the_go_into_a_hold(tmp_path: Path) -> None:
    def rainy(request: object) -> None:
        issued = DUE - timedelta(minutes=30)
        request.reply(met_body(request, issued, rain_mm=1.5, chance=0.9))  # type: ignore[attr-defined,arg-type]

    with trial(tmp_path, rainy) as at:
        at.write(people=[person(reach=BOTH[:1])])
        service = at.start(DUE)
        until(lambda: len(at.hook.arrivals) == 1, "the brief")
        assert stop(service) == 0
        leaf = next(line for line in at.hook.arrivals[0].body["message"].splitlines() if "Leaf Feed" in line)
        assert leaf.startswith("■ HOLD")
