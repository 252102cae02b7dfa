"""One GET with every bound that requests leaves open: total time, bytes on the wire, bytes unpacked, where it goes."""

import http.client
import threading
import time
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from http.cookiejar import DefaultCookiePolicy
from urllib.parse import urlsplit

import requests
import urllib3

from adapters.feeds.guard import GuardedAdapter, RefusedAddress, Watch, watching
from scheduler.ports import FeedUnavailable

DEADLINE_S = 30.0
CONNECT_S, READ_S = 10.0, 20.0
MOST_WIRE_BYTES = 4_000_000
MOST_BODY_BYTES = 8_000_000
_CHUNK = 65_536
_SETTINGS_FAULTS = (
    requests.exceptions.InvalidURL,
    requests.exceptions.InvalidHeader,
    requests.exceptions.MissingSchema,
    requests.exceptions.InvalidSchema,
)
_BROKEN = (requests.RequestException, urllib3.exceptions.HTTPError, http.client.HTTPException, OSError, zlib.error)


@dataclass(frozen=True)
class Answer:
    """What came back, whatever its status but a redirect. Header names do not mind case."""

    status: int
    headers: Mapping[str, str]
    body: bytes


def new_session() -> requests.Session:
    """A session without cookies, netrc, proxies of the environment, or repeats; for one thread at a time."""
    session = requests.Session()
    _guard(session)
    return session


def get(
    session: requests.Session,
    url: str,
    params: Mapping[str, str] | None = None,
    headers: Mapping[str, str] | None = None,
    *,
    deadline_s: float = DEADLINE_S,
    max_wire_bytes: int = MOST_WIRE_BYTES,
    max_body_bytes: int = MOST_BODY_BYTES,
    allow_local: bool = False,
) -> Answer:
    """GET `url`. Returns after `deadline_s` at the latest, whatever the other side does.

    Raises FeedUnavailable, with `operator` where only other settings help: no connection, no complete answer in time,
    an answer beyond the caps, another encoding than gzip, a redirect (none is followed), plain http, or a host that is
    not on the public network (the last two pass with `allow_local`). The words name the host, never path or query.
    """
    host = _host(url)
    if not url.startswith("https://") and not (allow_local and url.startswith("http://")):
        raise FeedUnavailable(f"{host} is not asked: its address does not begin with https://", operator=True)
    _guard(session)
    job = _Job(url, params or {}, headers or {}, max_wire_bytes, max_body_bytes, deadline_s, Watch(allow_local))
    worker = threading.Thread(target=job.run, args=(session,), name=f"feed {host}", daemon=True)
    worker.start()
    worker.join(deadline_s)
    if worker.is_alive():
        job.watch.cut()
        worker.join(1.0)
        _guard(session, anew=True)  # whatever the worker still holds is not used again
        raise FeedUnavailable(f"{host} gave no complete answer within {deadline_s:g} s")
    if job.error is not None:
        raise _unavailable(host, job.error, deadline_s) from None
    if job.answer is None:
        raise FeedUnavailable(f"{host} gave no answer")
    return _kept(job.answer, host)


def _guard(session: requests.Session, *, anew: bool = False) -> None:
    session.trust_env = False
    session.cookies.set_policy(DefaultCookiePolicy(allowed_domains=[]))
    for prefix in ("https://", "http://"):
        if anew or not isinstance(session.adapters.get(prefix), GuardedAdapter):
            session.mount(prefix, GuardedAdapter())


class _TooLarge(Exception):
    pass


class _Encoding(Exception):
    pass


@dataclass
class _Job:
    """One request in a thread of its own: nothing but a second thread can bound name look-up and dripped headers."""

    url: str
    params: Mapping[str, str]
    headers: Mapping[str, str]
    max_wire_bytes: int
    max_body_bytes: int
    deadline_s: float
    watch: Watch
    answer: Answer | None = None
    error: BaseException | None = None
    _end: float = field(init=False)

    def run(self, session: requests.Session) -> None:
        """Fill `answer` or `error`."""
        self._end = time.monotonic() + self.deadline_s
        try:
            with watching(self.watch):
                self.answer = self._ask(session)
        except BaseException as error:  # noqa: BLE001 - carried into the asking thread, and raised there
            self.error = error

    def _ask(self, session: requests.Session) -> Answer:
        """Straight through the transport: Session.send would read the whole body of a redirect before it returns."""
        asked = requests.Request(
            "GET", self.url, params=self.params, headers={"Accept-Encoding": "gzip", **self.headers}
        )
        timeout = (min(CONNECT_S, self.deadline_s), min(READ_S, self.deadline_s))
        with session.get_adapter(self.url).send(
            session.prepare_request(asked),
            stream=True,
            timeout=timeout,
            verify=session.verify is None or session.verify,
            cert=session.cert,
        ) as response:
            if _is_redirect(response.status_code):
                return Answer(response.status_code, response.headers, b"")
            body = self._unpacked(response.headers.get("Content-Encoding", ""), self._chunks(response))
            return Answer(response.status_code, response.headers, body)

    def _chunks(self, response: requests.Response) -> Iterator[bytes]:
        """The bytes of the wire as they come. read1 returns after one read; read would wait for a whole chunk."""
        size, stated = 0, response.headers.get("Content-Length", "")
        while chunk := response.raw.read1(_CHUNK, decode_content=False):
            size += len(chunk)
            if size > self.max_wire_bytes:
                raise _TooLarge
            if time.monotonic() > self._end:
                raise TimeoutError
            yield chunk
        if stated.isdecimal() and int(stated[:20]) > size and response.status_code != 304:
            raise http.client.IncompleteRead(b"")

    def _unpacked(self, encoding: str, chunks: Iterator[bytes]) -> bytes:
        if encoding.strip().lower() in ("", "identity"):
            return self._plain(chunks)
        if encoding.strip().lower() not in ("gzip", "x-gzip"):
            raise _Encoding
        return self._gunzipped(chunks)

    def _plain(self, chunks: Iterator[bytes]) -> bytes:
        body = bytearray()
        for chunk in chunks:
            body += chunk
            if len(body) > self.max_body_bytes:
                raise _TooLarge
        return bytes(body)

    def _gunzipped(self, chunks: Iterator[bytes]) -> bytes:
        """Unpacked step by step, so that a small bomb cannot fill the memory."""
        body, unpack = bytearray(), zlib.decompressobj(16 + zlib.MAX_WBITS)
        for chunk in chunks:
            while chunk:
                body += unpack.decompress(chunk, self.max_body_bytes + 1 - len(body))
                if len(body) > self.max_body_bytes:
                    raise _TooLarge
                chunk = unpack.unconsumed_tail
        if not unpack.eof and (body or unpack.unused_data):
            raise zlib.error("cut short")
        return bytes(body)


def _unavailable(host: str, error: BaseException, deadline_s: float) -> BaseException:
    """The failure in words that hold nothing of the request."""
    if isinstance(error, _SETTINGS_FAULTS):
        return FeedUnavailable(f"{host} cannot be asked: the address or a header is not valid", operator=True)
    if isinstance(error, RefusedAddress):
        return FeedUnavailable(f"{host} is not asked: {error}", operator=True)
    if isinstance(error, _TooLarge):
        return FeedUnavailable(f"{host} sent more than any forecast needs")
    if isinstance(error, _Encoding):
        return FeedUnavailable(f"{host} packed its answer in a way that was not asked for")
    if isinstance(error, TimeoutError | requests.Timeout | urllib3.exceptions.TimeoutError):
        return FeedUnavailable(f"{host} gave no complete answer within {deadline_s:g} s")
    if isinstance(error, requests.exceptions.SSLError):
        return FeedUnavailable(f"{host} has no valid certificate")
    if isinstance(error, requests.ConnectionError):
        return FeedUnavailable(f"{host} cannot be reached")
    if isinstance(error, _BROKEN):
        return FeedUnavailable(f"the answer of {host} broke off or is garbled")
    return error


def _kept(answer: Answer, host: str) -> Answer:
    if _is_redirect(answer.status):
        target = _host(answer.headers.get("Location", "")) or "another address"
        raise FeedUnavailable(f"{host} points on to {target[:60]}; redirects are not followed", operator=True)
    return answer


def _is_redirect(status: int) -> bool:
    return 300 <= status < 400 and status != 304


def _host(url: str) -> str:
    try:
        return urlsplit(url).hostname or ""
    except ValueError:
        return ""
