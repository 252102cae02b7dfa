"""Which machines may be spoken to: none inside this network unless the operator says so."""

import ipaddress
import socket

Address = ipaddress.IPv4Address | ipaddress.IPv6Address


class HostRefused(Exception):
    """The host is this machine or inside its network, or another place no message belongs to."""


class HostUnknown(Exception):
    """The host name has no address just now."""


def check_host(host: str, *, allow_local: bool) -> None:
    """Refuse a host any of whose addresses is not public. Raises HostRefused, HostUnknown.

    The library that sends resolves the name again, so a name server that changes its answer in between is not held
    off here: on hosts that matter a firewall or the service unit's IPAddressDeny= has the last word.
    """
    for address in addresses(host):
        if is_public(address):
            continue
        if not allow_local:
            raise HostRefused("the channel leads into this machine or its network (LIGULE_ALLOW_LOCAL=1 permits it)")
        if address.is_multicast or address.is_link_local:
            raise HostRefused("the channel leads to a link-local or multicast address")


def addresses(host: str) -> list[Address]:
    """Every address of a host, as the system resolves it (also `0x7f000001` and the like). Raises HostUnknown."""
    try:
        found = socket.getaddrinfo(host.strip("[]"), None, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise HostUnknown("the channel's host name has no address") from None
    return [ipaddress.ip_address(str(entry[4][0]).partition("%")[0]) for entry in found]


def is_public(address: Address) -> bool:
    """True for an address on the open internet."""
    if isinstance(address, ipaddress.IPv6Address) and (inner := address.ipv4_mapped or address.sixtofour):
        return is_public(inner)
    return address.is_global and not address.is_multicast


def is_loopback(host: str) -> bool:
    """True if every address of the host is this machine's loopback. Raises HostUnknown."""
    return all(address.is_loopback for address in addresses(host))
