"""Apprise addresses: which kinds are allowed, and what must hold before anything is sent there."""

import logging
from functools import cache
from typing import Any

from apprise import Apprise, AppriseAsset
from apprise.manager_plugins import NotificationManager
from apprise.plugins.email.base import NotifyEmail

from adapters.notify.hosts import check_host, is_loopback

# Mail, chat and push services that carry a short text to people, and the two generic hooks. Everything else that
# Apprise can do (run programs, write files, switch lamps) stays switched off.
SCHEMAS = frozenset(
    {"mailto", "mailtos", "json", "jsons", "form", "forms", "tgram", "slack", "discord", "ntfy", "ntfys", "matrix"}
    | {"matrixs", "workflow", "workflows", "gchat", "mmost", "mmosts", "rocket", "rockets", "zulip", "gotify"}
    | {"gotifys", "signal", "signals", "pover", "pbul", "whatsapp", "threema", "twilio", "sendgrid", "mailgun"}
    | {"nctalk", "nctalks", "line", "wxteams"}
)
# Kinds whose address names the machine to speak to. The host part of the others is a token and must never be looked up.
OWN_HOST = frozenset(
    {"mailto", "mailtos", "json", "jsons", "form", "forms", "ntfy", "ntfys", "matrix", "matrixs", "workflow"}
    | {"workflows", "mmost", "mmosts", "rocket", "rockets", "gotify", "gotifys", "signal", "signals", "nctalk"}
    | {"nctalks"}
)
CONNECT_S, READ_S = 5.0, 15.0


class ChannelRefused(Exception):
    """The address cannot or must not be used; the sentence says why, without quoting it."""


@cache
def asset() -> AppriseAsset:
    """How Apprise behaves here: only the kinds above, no redirects, no retries, nothing on disk, nothing logged.

    Its logger is opened wide but cut off from all handlers: the entries are read for the reason of a failure, and at
    that level they hold addresses with their tokens.
    """
    NotificationManager().enable_only(*SCHEMAS)  # type: ignore[no-untyped-call]
    logger = logging.getLogger("apprise")
    logger.setLevel(logging.DEBUG)
    logger.propagate = False
    logger.addHandler(logging.NullHandler())
    for talkative in ("urllib3", "requests"):  # they log paths, which hold tokens
        logging.getLogger(talkative).setLevel(logging.INFO)
    return AppriseAsset(app_id="Ligule", app_desc="Ligule", http_redirects=False, async_mode=False, service_timeout=0)


def check_channel(address: str, *, allow_local: bool) -> None:
    """Check a filled-in address without sending. Raises ChannelRefused, HostRefused, HostUnknown."""
    open_channel(address, allow_local=allow_local)


def open_channel(address: str, *, allow_local: bool) -> Any:
    """The Apprise plugin of an address that may be used. Raises ChannelRefused, HostRefused, HostUnknown."""
    settings = asset()
    plugin = Apprise.instantiate(address, asset=settings)
    if plugin is None:
        scheme = address.partition("://")[0].lower()
        known = scheme in SCHEMAS and "://" in address
        raise ChannelRefused(
            f"the {scheme}:// address is incomplete or mistyped" if known else "this kind of address is not allowed"
        )
    if plugin.redirects:
        raise ChannelRefused("redirects are not followed: leave out redirect=")
    if isinstance(plugin, NotifyEmail):
        _check_mail(plugin, allow_local=allow_local)
    elif _kinds(plugin) & OWN_HOST and not _in_the_cloud(plugin):
        check_host(str(plugin.host), allow_local=allow_local)
    _set_timeouts(plugin)
    return plugin


def _check_mail(plugin: Any, *, allow_local: bool) -> None:
    if len(plugin.targets) + len(plugin.cc) + len(plugin.bcc) != 1:
        # With several, one refusal would leave the others served and the row failed: they would get it twice.
        raise ChannelRefused("a mail address line holds one recipient; write one line for each")
    if plugin.pgp_mode != "no":
        raise ChannelRefused("encrypted mail (pgp=, wkd=) is not supported")
    check_host(plugin.smtp_host, allow_local=allow_local)
    if plugin.secure_mode == "insecure" and not (allow_local and is_loopback(plugin.smtp_host)):
        raise ChannelRefused("mailto:// without encryption sends mail and password in the clear; use mailtos://")


def _kinds(plugin: Any) -> set[str]:
    kinds: set[str] = set()
    for protocol in (plugin.protocol, plugin.secure_protocol):
        kinds.update([protocol] if isinstance(protocol, str) else protocol or ())
    return kinds


def _in_the_cloud(plugin: Any) -> bool:
    """True for services whose own servers are used when the address names none (their host part is a topic)."""
    return getattr(plugin, "mode", None) in ("cloud", "t2bot")


def _set_timeouts(plugin: Any) -> None:
    kind = type(plugin)
    if plugin.socket_read_timeout == kind.socket_read_timeout:  # not set in the address
        plugin.socket_read_timeout = READ_S
    if plugin.socket_connect_timeout == kind.socket_connect_timeout:
        plugin.socket_connect_timeout = CONNECT_S
