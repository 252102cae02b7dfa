"""The nights on which clocks change: one brief, at the first instant after a gap, at the first pass of an overlap.

Dates and instants as in the IANA time zone database.
"""

import time
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.builders import person
from tests.whole.trial import met_norway, stop, trial, until

pytestmark = pytest.mark.slow

CHANGES = {
    # zone: (brief at, due at the gap, brief at, first pass of the overlap)
    "Europe/London": ("01:30", "2026-03-29T01:00Z", "01:30", "2026-10-25T00:30Z"),
    "Europe/Berlin": ("02:30", "2026-03-29T01:00Z", "02:30", "2026-10-25T00:30Z"),
    "America/New_York": ("02:30", "2026-03-08T07:00Z", "01:30", "2026-11-01T05:30Z"),
    "Australia/Sydney": ("02:30", "2026-10-03T16:00Z", "02:30", "2026-04-04T15:30Z"),
}
SECOND = timedelta(seconds=1)
BEFORE = 4 * SECOND


@pytest.mark.parametrize("zone", CHANGES)
@pytest.mark.parametrize("change", ["gap", "overlap"])
def test_one_brief_in_the_night_of_the_change(tmp_path: Path, zone: str, change: str) -> None:
    brief_at, instant = CHANGES[zone][:2] if change == "gap" else CHANGES[zone][2:]
    due = datetime.fromisoformat(instant)
    with trial(tmp_path, met_norway(due)) as at:
        at.write(timezone=zone, people=[person(reach=["${HOOK}/ines"], brief_at=brief_at)])
        service = at.start(due - BEFORE)
        until(lambda: len(at.hook.arrivals) == 1, "the brief")
        assert stop(service) == 0
        (row,) = at.rows()
        assert row.due_at == due
        assert row.sent_at is not None
        assert due <= row.sent_at < due + 20 * SECOND
        again = at.start(
            due + timedelta(hours=1) - BEFORE
        )  # where a second pass, or the gap's end by other rules, lies
        until(lambda: at.said().count("started for") == 2, "the second start")
        time.sleep(8)
        assert stop(again) == 0
        assert len(at.hook.arrivals) == 1


def test_the_days_around_a_change_have_one_brief_each(tmp_path: Path) -> None:
    dues = [datetime.fromisoformat(f"2026-{day}Z") for day in ("10-23T22:00", "10-24T22:00", "10-25T23:00")]
    with trial(tmp_path, met_norway(dues[0])) as at:  # midnight in Berlin, the night clocks go back among them
        at.write(timezone="Europe/Berlin", people=[person(reach=["${HOOK}/ines"], brief_at="00:00")])
        for count, due in enumerate(dues, 1):
            service = at.start(due - BEFORE)
            until(lambda count=count: len(at.hook.arrivals) == count, f"brief {count}")
            assert stop(service) == 0
        assert [row.due_at for row in at.rows() if row.state == "sent"] == dues
