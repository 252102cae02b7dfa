"""A real web server on this machine, for what a fake cannot show: dripped bytes, cut answers, kept connections."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class Handler(BaseHTTPRequestHandler):
    """What a behaviour gets: `send_response` and so on, and `over`, an Event set when the test has ended."""

    protocol_version = "HTTP/1.1"
    server: "Server"

    def do_GET(self) -> None:
        self.server.paths.append(self.path)
        self.server.seen.append({key.lower(): value for key, value in self.headers.items()})
        try:
            self.server.behaviour(self)
        except (BrokenPipeError, ConnectionResetError):
            self.close_connection = True

    @property
    def over(self) -> threading.Event:
        return self.server.over

    def reply(self, body: bytes, status: int = 200, **headers: str) -> None:
        """A whole answer."""
        self.send_response(status)
        self.send_header("Content-Length", str(len(body)))
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *args: object) -> None:
        pass


class Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False

    def __init__(self, behaviour: Callable[[Handler], object]) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.behaviour = behaviour
        self.over = threading.Event()
        self.paths: list[str] = []
        self.seen: list[dict[str, str]] = []
        self.connections = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}"

    def get_request(self) -> tuple[socket.socket, tuple[str, int]]:
        self.connections += 1
        connection, address = super().get_request()
        return connection, (str(address[0]), int(address[1]))

    def handle_error(self, *args: object) -> None:
        pass  # a client that hangs up is what these tests are about


@contextmanager
def serving(behaviour: Callable[[Handler], object]) -> Iterator[Server]:
    """A server that does `behaviour` on every GET until the block ends."""
    server = Server(behaviour)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.over.set()
        server.shutdown()
        server.server_close()
        thread.join()
