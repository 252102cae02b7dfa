"""The shape of addresses (feed hosts, Apprise URLs) before and after their secrets are filled in."""

import ipaddress
import re
from urllib.parse import urlsplit

FREE_OPEN_METEO_HOST = "open-meteo.com"

_MAIL = re.compile(r"[^@\s,;<>()\[\]]+@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+")


def feed_address_fault(url: str) -> str | None:
    """What is wrong with an http(s) address, or None. The words never quote the address."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:
        return "an address that does not read as one"
    if parts.scheme not in ("http", "https"):
        return "an address that does not begin with http:// or https://"
    if not host or port == 0 or not re.fullmatch(r"[A-Za-z0-9._:%-]+", host):
        return "an address without a host"
    if parts.username is not None or parts.password is not None:
        return "an address with a user and password in it"
    if not url.isascii() or not url.isprintable() or " " in url:
        return "an address with characters that must be percent-encoded"
    return None


def host_of(url: str) -> str:
    """The host of an address in lower case, or empty."""
    try:
        return (urlsplit(url).hostname or "").rstrip(".")
    except ValueError:
        return ""


def is_local(host: str) -> bool:
    """True for a host that by its very name is this machine or a private network (names are not looked up)."""
    if host == "localhost" or host.endswith((".localhost", ".local", ".internal")):
        return True
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return False
    return not (getattr(address, "ipv4_mapped", None) or address).is_global


def is_free_open_meteo(host: str) -> bool:
    """True for the free forecast host; the paid one has a name of its own (customer-...)."""
    free = host == FREE_OPEN_METEO_HOST or host.endswith("." + FREE_OPEN_METEO_HOST)
    return free and not host.startswith("customer-")


def is_contact(text: str) -> bool:
    """True for an e-mail or web address that can be sent in a request header."""
    if not text.isascii() or not text.isprintable():
        return False
    return bool(_MAIL.fullmatch(text)) or (" " not in text and feed_address_fault(text) is None)
