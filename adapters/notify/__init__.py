"""Sending one message over one channel, and saying truly what became of it."""

from adapters.notify.channels import ChannelRefused, check_channel
from adapters.notify.results import Failed, Sent
from adapters.notify.send import send

__all__ = ["ChannelRefused", "Failed", "Sent", "check_channel", "send"]
