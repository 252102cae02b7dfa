"""Connections that refuse private addresses, can be cut off at any moment, and keep addresses out of the logs.

A name is resolved once, every address it has must be public, and the connection goes to an address that was checked
(OWASP Server-Side Request Forgery Prevention Cheat Sheet: otherwise a name may point elsewhere a moment later).
"""

import contextlib
import ipaddress
import logging
import socket
import threading
from typing import Any

from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.exceptions import ConnectTimeoutError, NewConnectionError

_NAT64 = ipaddress.ip_network("64:ff9b::/96")  # RFC 6052: an IPv4 address stands in its last 32 bits


class RefusedAddress(Exception):
    """The host is not one that may be asked. Not an OSError: nobody on the way may take it for a passing fault."""


class Watch:
    """One request under way: what it may do, and a handle that cuts its connection from another thread."""

    def __init__(self, allow_local: bool) -> None:
        self.allow_local = allow_local
        self._lock = threading.Lock()
        self._over = False
        self._handle: socket.socket | None = None

    def hold(self, handle: socket.socket | None) -> None:
        """Take the handle of the connection in use. Raises ConnectionAbortedError after `cut`."""
        with self._lock:
            if self._over:
                raise ConnectionAbortedError("cut off at the deadline")
            self._handle = handle

    def cut(self) -> None:
        """End the connection: whoever waits for it wakes with an error."""
        with self._lock:
            self._over = True
            if self._handle is not None:
                with contextlib.suppress(OSError):
                    self._handle.shutdown(socket.SHUT_RDWR)


_local = threading.local()


@contextlib.contextmanager
def watching(watch: Watch) -> Any:
    """Connections made in this thread belong to `watch` meanwhile."""
    _local.watch = watch
    try:
        yield
    finally:
        _local.watch = None


def public_addresses(host: str, port: int, allow_local: bool) -> list[str]:
    """The numeric addresses of a host. Raises OSError if there are none, RefusedAddress unless all are public."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except UnicodeError:
        raise OSError("not a host name") from None
    addresses = list(dict.fromkeys(str(info[4][0]) for info in found))
    if not allow_local and not all(is_public(address) for address in addresses):
        raise RefusedAddress("its host is not on the public network")
    return addresses


def is_public(address: str) -> bool:
    """True for a numeric address that the whole Internet can reach, looking into the IPv6 forms that wrap an IPv4."""
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    wrapped: list[Any] = []
    if isinstance(ip, ipaddress.IPv6Address):
        wrapped = [ip.ipv4_mapped, ip.sixtofour, *(ip.teredo or ())]
        if ip in _NAT64:
            wrapped.append(ipaddress.IPv4Address(int(ip) & 0xFFFFFFFF))
        if ip.ipv4_mapped:
            return is_public(str(ip.ipv4_mapped))
    return ip.is_global and not ip.is_multicast and all(is_public(str(inner)) for inner in wrapped if inner)


class _Guarded(HTTPConnection):
    """Mixed into urllib3's connections: checks the address, and keeps a second handle of the socket for `Watch.cut`."""

    _handle: socket.socket | None = None

    def _new_conn(self) -> socket.socket:
        watch: Watch | None = getattr(_local, "watch", None)
        name = self._dns_host
        addresses = public_addresses(name, self.port, watch is not None and watch.allow_local)
        try:
            made = self._first_of(addresses)
        finally:
            self._dns_host = name  # the certificate is checked against the name, not the address
        self._handle = made.dup()
        if watch:
            watch.hold(self._handle)
        return made

    def _first_of(self, addresses: list[str]) -> socket.socket:
        for address in addresses[:-1]:
            self._dns_host = address
            with contextlib.suppress(NewConnectionError, ConnectTimeoutError):
                return super()._new_conn()
        self._dns_host = addresses[-1]
        return super()._new_conn()

    def request(self, *args: Any, **kwargs: Any) -> None:
        watch: Watch | None = getattr(_local, "watch", None)
        if watch:
            watch.hold(self._handle)  # a kept connection is used again
        super().request(*args, **kwargs)

    def close(self) -> None:
        super().close()
        if self._handle is not None:
            self._handle.close()
            self._handle = None


class _GuardedTls(_Guarded, HTTPSConnection):
    pass


class _Pool(HTTPConnectionPool):
    ConnectionCls = _Guarded


class _TlsPool(HTTPSConnectionPool):
    ConnectionCls = _GuardedTls


class GuardedAdapter(HTTPAdapter):
    """Transport of requests over guarded connections. Nothing is tried twice here: waits belong into the database."""

    def __init__(self) -> None:
        super().__init__(max_retries=0, pool_connections=4, pool_maxsize=2)

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        super().init_poolmanager(*args, **kwargs)
        self.poolmanager.pool_classes_by_scheme = {"http": _Pool, "https": _TlsPool}


class _NoAddresses(logging.Filter):
    """urllib3 logs paths and queries at DEBUG; keys travel in them."""

    def filter(self, record: logging.LogRecord) -> bool:
        if isinstance(record.args, tuple):
            record.args = tuple("..." if _is_address(arg) else arg for arg in record.args)
        return True


def _is_address(arg: object) -> bool:
    return isinstance(arg, str) and (arg.startswith("/") or "?" in arg or "://" in arg)


logging.getLogger("urllib3.connectionpool").addFilter(_NoAddresses())
