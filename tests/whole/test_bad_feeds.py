"""A feed that fails in every way it can: the brief still goes out, and never with a go."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.adapters.feeds.servers import Handler
from tests.builders import person
from tests.whole.trial import met_body, stop, trial, until

pytestmark = pytest.mark.slow

DUE = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)
ISSUED = DUE - timedelta(minutes=30)


def cut_off(request: Handler) -> None:
    whole = met_body(request, ISSUED)
    request.send_response(200)
    request.send_header("Content-Length", str(len(whole)))
    request.end_headers()
    request.wfile.write(whole[: len(whole) // 2])
    request.close_connection = True


def spoilt(request: Handler, old: bytes, new: bytes) -> None:
    whole = met_body(request, ISSUED)
    assert old in whole
    request.reply(whole.replace(old, new))


BAD: dict[str, Callable[[Handler], object]] = {
    "500": lambda r: r.reply(b"{}", 500),
    "429": lambda r: r.reply(b"{}", 429, Retry_After="86400"),
    "a web page": lambda r: r.reply(b"<!doctype html><title>Sorry</title>", Content_Type="text/html"),
    "nothing": lambda r: r.reply(b""),
    "cut off": cut_off,
    "NaN": lambda r: spoilt(r, b'"air_temperature": 12.0', b'"air_temperature": NaN'),
    "Infinity": lambda r: spoilt(r, b'"precipitation_amount": 0.0', b'"precipitation_amount": Infinity'),
    "1e400": lambda r: spoilt(r, b'"wind_speed": 2.0', b'"wind_speed": 1e400'),
    "wrong units": lambda r: spoilt(r, b'"celsius"', b'"fahrenheit"'),
    "deep nesting": lambda r: r.reply(b"[" * 200_000),
    "a week old": lambda r: r.reply(met_body(r, DUE - timedelta(days=7))),
    "seven hours old": lambda r: r.reply(met_body(r, DUE - timedelta(hours=7))),
    "from tomorrow": lambda r: r.reply(met_body(r, DUE + timedelta(days=1))),
    "redirect": lambda r: r.reply(b"", 302, Location="http://169.254.169.254/latest"),
}


@pytest.mark.parametrize("fault", BAD)
def test_the_brief_says_that_nothing_is_known(tmp_path: Path, fault: str) -> None:
    with trial(tmp_path, BAD[fault]) as at:
        at.write(people=[person(reach=["${HOOK}/ines"])])
        service = at.start(DUE)
        until(lambda: len(at.hook.arrivals) == 1, "the brief")
        assert stop(service) == 0
        told = at.hook.arrivals[0].body
        assert "NO DATA" in told["message"]
        assert "▲" not in told["message"]
        assert "GO" not in told["message"].replace("NO DATA", "")
        assert "Traceback" not in at.said()
        assert at.is_whole()


def test_a_feed_that_is_down_leaves_the_last_good_forecast_in_use(tmp_path: Path) -> None:
    with trial(tmp_path, lambda r: r.reply(met_body(r, DUE - timedelta(hours=3)))) as at:
        at.write(people=[person(reach=["${HOOK}/ines"])])
        early = at.start(DUE - timedelta(hours=2))
        until(lambda: "1 new" in at.said(), "the forecast")
        assert stop(early) == 0
        at.feed.behaviour = lambda r: r.reply(b"{}", 503)
        service = at.start(DUE)
        until(lambda: len(at.hook.arrivals) == 1, "the brief")
        assert stop(service) == 0
        assert "▲ GO" in at.hook.arrivals[0].body["message"]
