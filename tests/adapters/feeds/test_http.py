"""The one GET of the feeds against a real server: it ends in time, in bounds, and goes nowhere else."""

import gzip
import logging
import socket
import zlib
from collections.abc import Iterator

import pytest
import requests

from adapters.feeds.guard import RefusedAddress, is_public, public_addresses
from adapters.feeds.http import Answer, get, new_session
from scheduler.ports import FeedUnavailable
from tests.adapters.feeds.servers import Handler, Server, serving

pytestmark = pytest.mark.slow


@pytest.fixture
def session() -> Iterator[requests.Session]:
    with new_session() as made:
        yield made


def fetch(session: requests.Session, server: Server, path: str = "/", **bounds: float) -> Answer:
    limits = {"deadline_s": 20.0, "max_wire_bytes": 100_000, "max_body_bytes": 200_000, **bounds}
    return get(
        session,
        server.url + path,
        {"apikey": "planted"},
        {"User-Agent": "tests"},
        deadline_s=limits["deadline_s"],
        max_wire_bytes=int(limits["max_wire_bytes"]),
        max_body_bytes=int(limits["max_body_bytes"]),
        allow_local=True,
    )


def fails(session: requests.Session, server: Server, why: str, path: str = "/", **bounds: float) -> FeedUnavailable:
    with pytest.raises(FeedUnavailable, match=why) as caught:
        fetch(session, server, path, **bounds)
    assert "planted" not in str(caught.value)
    return caught.value


def drip(handler: Handler) -> None:
    """One byte every few milliseconds, for as long as the test lasts."""
    while not handler.over.wait(0.02):
        handler.wfile.write(b" ")


def test_a_whole_answer_comes_with_status_headers_and_body(session: requests.Session) -> None:
    with serving(lambda h: h.reply(b"{}", 404, Retry_After="7")) as server:
        answer = fetch(session, server)
    assert (answer.status, answer.body, answer.headers["retry-after"]) == (404, b"{}", "7")
    assert server.paths == ["/?apikey=planted"]
    assert server.seen[0]["accept-encoding"] == "gzip"
    assert "cookie" not in server.seen[0]


def test_gzip_is_unpacked(session: requests.Session) -> None:
    with serving(lambda h: h.reply(gzip.compress(b"[1, 2]"), Content_Encoding="gzip")) as server:
        assert fetch(session, server).body == b"[1, 2]"


def test_an_empty_304_is_no_failure(session: requests.Session) -> None:
    def behaviour(handler: Handler) -> None:
        handler.send_response(304)
        handler.send_header("Content-Encoding", "gzip")
        handler.end_headers()

    with serving(behaviour) as server:
        assert fetch(session, server).status == 304


def test_a_connection_is_kept_for_the_next_place(session: requests.Session) -> None:
    with serving(lambda h: h.reply(b"{}")) as server:
        for _ in range(3):
            fetch(session, server)
        assert server.connections == 1


def test_cookies_are_not_taken(session: requests.Session) -> None:
    with serving(lambda h: h.reply(b"{}", Set_Cookie="a=b")) as server:
        fetch(session, server)
        fetch(session, server)
    assert "cookie" not in server.seen[1]


def test_a_body_dripped_for_ever_ends_at_the_deadline(session: requests.Session) -> None:
    def behaviour(handler: Handler) -> None:
        handler.send_response(200)
        handler.end_headers()
        drip(handler)

    with serving(behaviour) as server:
        fails(session, server, "within 0.4 s", deadline_s=0.4)


def test_headers_dripped_for_ever_end_at_the_deadline(session: requests.Session) -> None:
    def behaviour(handler: Handler) -> None:
        handler.wfile.write(b"HTTP/1.1 200 OK\r\nX: ")
        drip(handler)

    with serving(behaviour) as server:
        fails(session, server, "within 0.4 s", deadline_s=0.4)


def test_interim_answers_without_end_end_at_the_deadline(session: requests.Session) -> None:
    def behaviour(handler: Handler) -> None:
        while not handler.over.wait(0.02):
            handler.wfile.write(b"HTTP/1.1 100 Continue\r\n\r\n")

    with serving(behaviour) as server:
        fails(session, server, "within 0.4 s", deadline_s=0.4)


def test_a_server_that_says_nothing_ends_at_the_deadline(session: requests.Session) -> None:
    with serving(lambda h: h.over.wait()) as server:
        fails(session, server, "within 0.4 s", deadline_s=0.4)


def test_after_a_deadline_the_session_asks_again(session: requests.Session) -> None:
    answers: list[bytes] = []

    def behaviour(handler: Handler) -> None:
        answers.append(b"")
        if len(answers) == 1:
            handler.over.wait()
        else:
            handler.reply(b"{}")

    with serving(behaviour) as server:
        fails(session, server, "within", deadline_s=0.4)
        assert fetch(session, server).body == b"{}"


def test_a_bomb_is_stopped_at_the_cap(session: requests.Session) -> None:
    packer = zlib.compressobj(9, zlib.DEFLATED, 16 + zlib.MAX_WBITS)
    bomb = b"".join(packer.compress(b"\0" * 1_000_000) for _ in range(50)) + packer.flush()
    assert len(bomb) < 100_000
    with serving(lambda h: h.reply(bomb, Content_Encoding="gzip")) as server:
        fails(session, server, "more than any forecast")


@pytest.mark.parametrize("encoding", ["", "identity"])
def test_an_endless_body_is_stopped_at_the_cap(session: requests.Session, encoding: str) -> None:
    def behaviour(handler: Handler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Encoding", encoding)
        handler.end_headers()
        while not handler.over.is_set():
            handler.wfile.write(b" " * 10_000)

    with serving(behaviour) as server:
        fails(session, server, "more than any forecast")


@pytest.mark.parametrize("encoding", ["br", "deflate", "zstd", "gzip, gzip"])
def test_other_encodings_are_refused(session: requests.Session, encoding: str) -> None:
    with serving(lambda h: h.reply(b"{}", Content_Encoding=encoding)) as server:
        fails(session, server, "packed")


@pytest.mark.parametrize("body", [gzip.compress(b"[1, 2, 3]")[:-6], b"not gzip at all"])
def test_gzip_that_is_cut_or_none_is_refused(session: requests.Session, body: bytes) -> None:
    with serving(lambda h: h.reply(body, Content_Encoding="gzip")) as server:
        fails(session, server, "broke off")


def test_a_body_shorter_than_announced_is_refused(session: requests.Session) -> None:
    def behaviour(handler: Handler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Length", "100")
        handler.end_headers()
        handler.wfile.write(b'{"a": 1')
        handler.close_connection = True

    with serving(behaviour) as server:
        fails(session, server, "broke off")


def test_a_chunked_body_without_its_end_is_refused(session: requests.Session) -> None:
    def behaviour(handler: Handler) -> None:
        handler.send_response(200)
        handler.send_header("Transfer-Encoding", "chunked")
        handler.end_headers()
        handler.wfile.write(b"2\r\n{}\r\n5\r\n ")
        handler.close_connection = True

    with serving(behaviour) as server:
        fails(session, server, "broke off")


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
@pytest.mark.parametrize("target", ["http://169.254.169.254/latest?k=planted", "/elsewhere", "http://[", ""])
def test_redirects_are_not_followed(session: requests.Session, status: int, target: str) -> None:
    with serving(lambda h: h.reply(b"", status, Location=target)) as server:
        assert fails(session, server, "redirects are not followed").operator
        assert len(server.paths) == 1


def test_the_body_of_a_redirect_is_not_read(session: requests.Session) -> None:
    def behaviour(handler: Handler) -> None:
        handler.send_response(302)
        handler.send_header("Location", "https://example.org/")
        handler.end_headers()
        while not handler.over.is_set():
            handler.wfile.write(b" " * 10_000)

    with serving(behaviour) as server:
        fails(session, server, "redirects are not followed")


def test_a_private_host_is_refused_unless_allowed(session: requests.Session) -> None:
    with serving(lambda h: h.reply(b"{}")) as server:
        for name in ("127.0.0.1", "localhost", "0x7f000001", "2130706433"):
            with pytest.raises(FeedUnavailable, match="not on the public network") as caught:
                get(session, f"https://{name}:{server.server_port}/?k=planted", allow_local=False)
            assert caught.value.operator
            assert "planted" not in str(caught.value)
        assert server.connections == 0


def test_plain_http_is_refused_unless_allowed(session: requests.Session) -> None:
    with serving(lambda h: h.reply(b"{}")) as server:
        with pytest.raises(FeedUnavailable, match="https"):
            get(session, server.url)
        assert server.connections == 0
    with pytest.raises(FeedUnavailable, match="https"):
        get(session, "file:///etc/passwd", allow_local=True)


def test_nobody_at_the_port_is_a_failure_in_plain_words(session: requests.Session) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        with pytest.raises(FeedUnavailable, match="cannot be reached") as caught:
            get(session, f"http://127.0.0.1:{taken.getsockname()[1]}/x?k=planted", allow_local=True)
    assert "planted" not in str(caught.value)


def test_a_server_without_tls_behind_https_is_a_failure(session: requests.Session) -> None:
    with serving(lambda h: h.reply(b"{}")) as server, pytest.raises(FeedUnavailable):
        get(session, server.url.replace("http:", "https:"), allow_local=True)


def test_a_header_that_cannot_be_sent_is_for_the_operator(session: requests.Session) -> None:
    with serving(lambda h: h.reply(b"{}")) as server, pytest.raises(FeedUnavailable) as caught:
        get(session, server.url, None, {"User-Agent": "a\r\nX: planted"}, allow_local=True)
    assert caught.value.operator
    assert "planted" not in str(caught.value)


def test_keys_do_not_reach_the_logs(session: requests.Session, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG), serving(lambda h: h.reply(b"{}")) as server:
        fetch(session, server, "/planted/path")
        fetch(session, server, "/planted/path")
    assert caplog.records
    assert "planted" not in caplog.text


@pytest.mark.parametrize(
    "address",
    [
        # RFC 6890 and its updates: loopback, private, link-local (cloud metadata), shared, documentation, multicast.
        *("127.0.0.1", "10.0.0.1", "172.16.0.1", "192.168.1.1", "169.254.169.254", "100.64.0.1", "0.0.0.0"),
        *("224.0.0.1", "255.255.255.255", "192.0.2.1", "::1", "::", "fe80::1", "fe80::1%eth0", "fc00::1", "ff02::1"),
        # IPv4 inside IPv6: mapped (RFC 4291), 6to4 (RFC 3056), NAT64 (RFC 6052), Teredo (RFC 4380).
        *(
            "::ffff:127.0.0.1",
            "::ffff:10.0.0.1",
            "2002:7f00:1::",
            "64:ff9b::7f00:1",
            "2001:0:4136:e378:8000:63bf:3fff:fdd2",
        ),
        "not an address",
    ],
)
def test_addresses_that_are_not_public(address: str) -> None:
    assert not is_public(address)


@pytest.mark.parametrize("address", ["157.249.81.141", "8.8.8.8", "2a02:c0::1", "64:ff9b::808:808", "::ffff:8.8.8.8"])
def test_addresses_that_are_public(address: str) -> None:
    assert is_public(address)


def test_a_name_that_is_no_name_is_a_plain_failure() -> None:
    with pytest.raises(OSError):
        public_addresses("a" * 70 + ".example", 443, allow_local=False)
    with pytest.raises(RefusedAddress):
        public_addresses("127.0.0.1", 443, allow_local=False)
