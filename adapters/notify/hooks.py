"""Chat, push and JSON channels by Apprise: one address, one send, its log read for what really happened."""

import logging
import re
from typing import Any

from apprise import Apprise, AppriseResult, NotifyFormat
from apprise.common import OverflowMode
from apprise.result import AppriseResultStatus

from adapters.notify.channels import asset
from adapters.notify.letter import clean, one_line, uncalled
from adapters.notify.limit import Bounded
from adapters.notify.results import Failed, Outcome, Sent
from scheduler.values import Message

LIMIT_S = 45.0  # for the whole send: a server that drips is never done by the per-read limits alone
KEY_HEADER = "X-Ligule-Key"
WHOLE = frozenset(("json", "form"))  # kinds for programs, which take a text of any length
# Refusals that the same message would meet again. A wrong token or a missing page may be put right within the morning.
FOR_GOOD = frozenset((400, 405, 410, 413, 414, 415, 422))
_STATUS = re.compile(r"error=(\d{3})\b")
_CONNECTION = re.compile(r"Connection error|Socket Exception", re.IGNORECASE)
_NEVER_ARRIVED = re.compile(
    r"NewConnectionError|ConnectTimeout|NameResolutionError|SSLError|refused|Failed to (establish|resolve)|No route"
)


def send_hook(plugin: Any, message: Message, key: str, *, limit_s: float = LIMIT_S) -> Outcome:
    """Send one message through one Apprise plugin."""
    if isinstance(getattr(plugin, "headers", None), dict):
        plugin.headers[KEY_HEADER] = key
    title, text = one_line(message.title), clean(message.text) or " "
    if plugin.protocol not in WHOLE:
        title, text = uncalled(title), uncalled(text)
        plugin.overflow_mode = OverflowMode.SPLIT
    service = Apprise(asset=asset())
    service.add(plugin)

    def call() -> AppriseResult:
        return service.notify(
            title=title,
            body=text,
            body_format=NotifyFormat.TEXT,
            log_level=logging.DEBUG,
        )

    result = Bounded(call).start().result(limit_s)
    if result is None:
        return Failed(f"no answer within {limit_s:.0f} s", unknown=True)
    return _judge(result)


def _judge(result: AppriseResult) -> Outcome:
    if result.status == AppriseResultStatus.SUCCESS:
        return Sent()
    if result.status == AppriseResultStatus.TIMEOUT:
        return Failed("no answer in time", unknown=True)
    lines = [entry.message for service in result for attempt in service.attempts for entry in attempt.logs]
    codes = [int(found.group(1)) for line in lines if (found := _STATUS.search(line))]
    if codes:
        return Failed(f"the channel answered {codes[-1]}", permanent=codes[-1] in FOR_GOOD)
    if any(_CONNECTION.search(line) for line in lines):
        if any(_NEVER_ARRIVED.search(line) for line in lines):
            return Failed("no connection to the channel")
        return Failed("the connection ended before an answer came", unknown=True)
    return Failed("the channel did not take the message")
