"""Receivers on this machine that log every arrival: one for JSON posts, one for mail.

Each can be told how to behave for the next arrivals: answer a status, wait, drip, or hang up.
"""

import json
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP


@dataclass(frozen=True)
class Arrival:
    """One post as it came in."""

    path: str
    headers: dict[str, str]
    body: dict[str, Any]

    @property
    def key(self) -> str:
        return self.headers["X-Ligule-Key"]


@dataclass
class JsonReceiver:
    """An HTTP receiver. `behave(path, n)` for the n-th arrival (from 1): a status, "drop", or seconds to wait first."""

    behave: Callable[[str, int], int | float | str] = lambda _path, _n: 200
    arrivals: list[Arrival] = field(default_factory=list)

    def __enter__(self) -> "JsonReceiver":
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                receiver._take(self)

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.lock = threading.Lock()
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True)
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.server.shutdown()
        self.server.server_close()

    @property
    def port(self) -> int:
        return int(self.server.server_address[1])

    def _take(self, request: BaseHTTPRequestHandler) -> None:
        length = int(request.headers["Content-Length"])
        data = request.rfile.read(length)
        if len(data) < length:  # the sender was killed in the middle of it
            request.close_connection = True
            return
        body = json.loads(data)
        with self.lock:
            self.arrivals.append(Arrival(request.path, dict(request.headers), body))
            how = self.behave(request.path, len([a for a in self.arrivals if a.path == request.path]))
        if isinstance(how, float):
            time.sleep(how)
            how = 200
        if how == "drop":
            request.close_connection = True
            return
        request.send_response(int(how))
        if how == 302:
            request.send_header("Location", f"http://127.0.0.1:{self.port}/elsewhere")
        request.send_header("Content-Length", "0")
        request.end_headers()


@dataclass
class MailReceiver:
    """A mail server. `answer(n)` for the n-th mail (from 1): the reply to its text, or "drop" to hang up instead."""

    answer: Callable[[int], str] = lambda _n: "250 taken"
    recipient_answer: str = "250 ok"
    mails: list[EmailMessage] = field(default_factory=list)
    recipients: list[str] = field(default_factory=list)

    def __enter__(self) -> "MailReceiver":
        # aiosmtpd takes port 0 but then looks for itself there, so a free one is found first.
        import socket

        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        self.controller = Controller(self, hostname="127.0.0.1", port=self.port)
        self.controller.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.controller.stop()

    async def handle_RCPT(self, server: SMTP, session: Any, envelope: Any, address: str, options: list[str]) -> str:
        if self.recipient_answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.recipient_answer

    async def handle_DATA(self, server: SMTP, session: Any, envelope: Any) -> str:
        message = message_from_bytes(envelope.content, policy=policy.default)
        assert isinstance(message, EmailMessage)
        self.mails.append(message)
        self.recipients.extend(envelope.rcpt_tos)
        reply = self.answer(len(self.mails))
        if reply == "drop":
            server.transport.abort()
            return "421 gone"
        return reply
