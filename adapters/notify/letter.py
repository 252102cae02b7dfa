"""The words on their way out: cleaned, and set as a mail with a text and an HTML part, and pictures beside it."""

import re
from datetime import datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from typing import Any

from scheduler.values import Message

POLICY = SMTP.clone(cte_type="7bit")  # no server is asked for more than plain SMTP
# Control characters but line feed and tab, lone surrogates, and marks that turn the direction of the text.
_HARMFUL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_CALLS = re.compile(r"(@(?=(?:everyone|here|channel|all)\b)|<(?=!))")
_OURS = frozenset(("from", "to", "subject", "date", "message-id", "mime-version", "bcc", "auto-submitted"))


def clean(text: str) -> str:
    """The text without characters that break a transport or mislead a reader."""
    return _HARMFUL.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))


def uncalled(text: str) -> str:
    """The text with the chat words that call everybody broken by a mark of no width."""
    return _CALLS.sub("\\1\u200b", text)


def one_line(text: str) -> str:
    """The cleaned text on one line, as headers need it."""
    return " ".join(clean(text).split())


def letter(plugin: Any, message: Message, key: str, now: datetime) -> EmailMessage:
    """The mail for one parsed mailto address. Its Message-ID comes from the key: a second try is the same letter.

    Raises ValueError if the address holds headers or names that cannot stand in a mail.
    """
    name, sender = plugin.from_addr
    mail = EmailMessage(policy=POLICY)
    mail["Subject"] = one_line(message.title)
    mail["From"] = Address(display_name=one_line(name or ""), addr_spec=sender)
    if plugin.targets:
        to_name, to = plugin.targets[0]
        mail["To"] = Address(display_name=one_line(to_name or ""), addr_spec=to)
    elif plugin.cc:
        mail["Cc"] = ", ".join(sorted(plugin.cc))
    if plugin.reply_to:
        mail["Reply-To"] = ", ".join(sorted(plugin.reply_to))
    mail["Date"] = format_datetime(now)
    mail["Message-ID"] = f"<{key}@{sender.rpartition('@')[2]}>"
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: no holiday notices in return
    mail["X-Ligule-Key"] = key
    for header, value in plugin.headers.items():
        if header.lower() not in _OURS and header not in mail:
            mail[header] = value
    mail.set_content(clean(message.text) or " ")
    if message.html:
        mail.add_alternative(clean(message.html), subtype="html")
        _add_pictures(mail, message)
    return mail


def _add_pictures(mail: EmailMessage, message: Message) -> None:
    """Put the pictures beside the HTML that shows them (multipart/related, RFC 2387)."""
    html = mail.get_body(("html",))
    if not isinstance(html, EmailMessage):
        return
    for number, (cid, png) in enumerate(message.pictures, 1):
        html.add_related(png, "image", "png", cid=f"<{cid}>", filename=f"lawn-{number}.png", disposition="inline")
