"""Ended without a word, again and again: nothing is lost, and a repetition only where a send was not yet recorded."""

import random
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.builders import person
from tests.whole.trial import Trial, kill, met_norway, stop, trial, until

pytestmark = pytest.mark.slow

DUE = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)
REACH = ["${HOOK}/a", "${HOOK}/b", "${MAIL}"]
UNRECORDED = "message sent, not yet recorded"


def all_sent(at: Trial) -> bool:
    rows = at.rows()
    return bool(rows) and all(row.state == "sent" for row in rows)


def arrivals(at: Trial) -> Counter[str]:
    """How often each message arrived, by its key."""
    return Counter([arrival.key for arrival in at.hook.arrivals] + [mail["X-Ligule-Key"] for mail in at.post.mails])


def test_killed_at_every_point_of_a_morning_nothing_is_lost(tmp_path: Path) -> None:
    number, points = 0, []
    while True:
        number += 1
        with trial(tmp_path, met_norway(DUE), f"estate-{number}") as at:
            at.write(people=[person(reach=REACH)])
            first = at.start_mortal(DUE, number)
            until(
                lambda at=at, first=first: first.poll() is not None or all_sent(at), "death or the end of the morning"
            )
            if first.poll() is None:
                stop(first)
                break  # the morning has fewer points than this
            points.append(at.said().rpartition("dies: ")[2].strip())
            second = at.start(DUE + timedelta(seconds=20))
            until(lambda at=at: all_sent(at), f"delivery after death at point {number}, {points[-1]}")
            time.sleep(2.5)  # one more beat
            assert stop(second) == 0
            counted = arrivals(at)
            assert len(counted) == len(REACH)  # none lost
            repeated = sum(counted.values()) - len(REACH)
            assert repeated == (points[-1] == UNRECORDED)
            assert at.is_whole()
            assert all(row.owner is None for row in at.rows())  # no lease left behind
    assert points.count(UNRECORDED) == len(REACH)
    assert {"before the briefs are recorded", "briefs recorded", "message claimed", "outcome recorded"} <= set(points)


def test_killed_at_random_moments_while_hundreds_are_sent_nothing_is_lost(tmp_path: Path) -> None:
    dice = random.Random(7)
    people = [person(id=f"p{n}", name=f"P {n}", reach=[f"${{HOOK}}/{n}a", f"${{HOOK}}/{n}b"]) for n in range(400)]
    with trial(tmp_path, met_norway(DUE)) as at:
        at.hook.behave = lambda _path, _n: 0.01  # taken at once, answered a little later: the worst case
        at.write(people=people)
        kills, clock = 0, DUE
        while not (len(arrivals(at)) == 2 * len(people) and all_sent(at)):
            service, before = at.start(clock), at.said().count("started for")
            clock += timedelta(seconds=5)
            if dice.random() < 0.8:  # else it is killed while it starts
                until(lambda before=before: at.said().count("started for") > before, "the start")
            time.sleep(dice.uniform(0.2, 2.0))
            kill(service)
            kills += 1
            assert kills < 300
        last = at.start(clock)
        time.sleep(8)  # nothing is left to be sent
        assert stop(last) == 0
        counted = arrivals(at)
        assert len(counted) == 2 * len(people)
        repeated = sum(counted.values()) - len(counted)
        print(f"{kills} kills, {len(counted)} messages, {repeated} repeated")
        assert kills >= 5
        assert repeated <= kills
        assert at.is_whole()
        assert all(row.state == "sent" and row.owner is None for row in at.rows())
