"""Answers the real feed code inside the process: an adapter of `requests` that opens no connection."""

import io
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qs, urlsplit

import requests
import urllib3

from adapters.feeds.guard import GuardedAdapter
from tests.bench.feed_bytes import Served

Place = tuple[float, float]


class InProcess(GuardedAdapter):
    """Serves each request the bytes of the places it names, and keeps what it served."""

    def __init__(self, answers: Mapping[Place, Served]) -> None:
        super().__init__()
        self.answers = answers
        self.bodies: list[bytes] = []

    def send(self, request: requests.PreparedRequest, *_: Any, **__: Any) -> requests.Response:
        """One answer, as the feed gives it: an object for one place, a list for several."""
        url = urlsplit(request.url or "")
        query = parse_qs(url.query)
        north, east = (query[name][0].split(",") for name in ("latitude", "longitude"))
        found = [self.answers[(float(a), float(b))] for a, b in zip(north, east, strict=True)]
        parts = [one.ensemble if url.path.endswith("/ensemble") else one.forecast for one in found]
        body = parts[0] if len(parts) == 1 else b"[" + b",".join(parts) + b"]"
        self.bodies.append(body)
        raw = urllib3.HTTPResponse(io.BytesIO(body), status=200, preload_content=False)
        return self.build_response(request, raw)


def session_with(adapter: InProcess) -> requests.Session:
    """A session that asks nobody but the adapter."""
    session = requests.Session()
    session.mount("https://", adapter)
    return session
