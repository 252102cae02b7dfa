"""Word to the service manager (sd_notify(3)): one datagram to a socket it names, nothing where there is none."""

import socket
from collections.abc import Mapping


def tell(environ: Mapping[str, str], state: str) -> None:
    """Send READY=1, WATCHDOG=1 or STOPPING=1. A manager that does not listen is no reason to fail."""
    address = environ.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")):
        return
    target = "\0" + address[1:] if address.startswith("@") else address
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        try:
            channel.sendto(state.encode(), target)
        except OSError:
            return
