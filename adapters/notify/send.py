"""One message over one channel: the address filled in at the last moment, and nothing of it in what comes back."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from apprise.plugins.email.base import NotifyEmail

from adapters.notify.channels import ChannelRefused, open_channel
from adapters.notify.hooks import send_hook
from adapters.notify.hosts import HostRefused, HostUnknown
from adapters.notify.mail import send_mail
from adapters.notify.results import Failed, Outcome
from config.secrets import SecretMissing, fill, redact, secret, secret_names
from scheduler.values import Message


def allows_local(environ: Mapping[str, str]) -> bool:
    """True if the operator permits channels on this machine or inside its network."""
    return environ.get("LIGULE_ALLOW_LOCAL") == "1"


def is_mail(reach: str, environ: Mapping[str, str]) -> bool:
    """True if the channel is a mail address. False while a secret in it is missing."""
    try:
        return fill(reach, environ).partition(":")[0].lower() in ("mailto", "mailtos")
    except (SecretMissing, ValueError):
        return False


def send(reach: str, message: Message, key: str, *, now: datetime, environ: Mapping[str, str]) -> Outcome:
    """Send to the channel that `reach` names (an Apprise address, secrets as ${NAME}).

    `key` is the same for every try of one message; receivers may drop a repetition by it. Never raises for what a
    channel does, and holds no database transaction open.
    """
    try:
        address = fill(reach, environ)
    except (SecretMissing, ValueError) as error:
        return Failed(str(error))
    hidden = (address, *(secret(name, environ) for name in secret_names(reach)))
    outcome = _send(address, message, key, now=now, allow_local=allows_local(environ))
    return replace(outcome, why=redact(outcome.why, hidden)) if isinstance(outcome, Failed) else outcome


def _send(address: str, message: Message, key: str, *, now: datetime, allow_local: bool) -> Outcome:
    try:
        plugin = open_channel(address, allow_local=allow_local)
    except (ChannelRefused, HostRefused) as error:
        return Failed(str(error), permanent=True)
    except HostUnknown as error:
        return Failed(str(error))
    if isinstance(plugin, NotifyEmail):
        return send_mail(plugin, message, key, now)
    return send_hook(plugin, message, key)
