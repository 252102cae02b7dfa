"""Mail by SMTP. The library that reads the address hides the server's answer; here 451 and 550 are told apart."""

import smtplib
import socket
import ssl
import threading
from contextlib import suppress
from datetime import datetime
from typing import Any

from adapters.notify.letter import POLICY, letter
from adapters.notify.limit import Bounded
from adapters.notify.results import Failed, Outcome, Sent
from scheduler.values import Message

LIMIT_S = 60.0  # for the whole conversation, however slowly the server drips its answers
STEP_S = 20.0  # for one read of it
OWN_NAME = "[127.0.0.1]"  # an address literal (RFC 5321 4.1.3): asking the resolver for our own name may take long


def send_mail(plugin: Any, message: Message, key: str, now: datetime, *, limit_s: float = LIMIT_S) -> Outcome:
    """Send one mail to the one recipient of a parsed mailto address."""
    try:
        data = letter(plugin, message, key, now).as_bytes(policy=POLICY)
    except ValueError as error:
        return Failed(f"the mail cannot be written: {error}", permanent=True)
    recipient = next(iter([*(to for _, to in plugin.targets), *plugin.cc, *plugin.bcc]))
    conversation = _Conversation(plugin, plugin.from_addr[1], recipient, data)
    running = Bounded(conversation.hold).start()
    return running.result(limit_s) or conversation.cut_off(limit_s)


class _Conversation:
    """One conversation with a mail server, which another thread can cut off."""

    def __init__(self, plugin: Any, sender: str, recipient: str, data: bytes) -> None:
        self.plugin, self.sender, self.recipient, self.data = plugin, sender, recipient, data
        self.smtp: smtplib.SMTP | None = None
        self.given = False  # the text is on its way: from here on the outcome can be unknown
        self.over = False
        self.turn = threading.Lock()

    def hold(self) -> Outcome:
        """Connect, name sender and recipient, hand over the text, and say what the server made of it."""
        try:
            self.smtp = self._connected()
            _expect(self.smtp.mail(self.sender))
            _expect(self.smtp.rcpt(self.recipient))
            with self.turn:
                if self.over:
                    return Failed("the mail server was too slow")
                self.given = True
            _expect(self.smtp.data(self.data))
            return Sent()
        except smtplib.SMTPAuthenticationError as error:
            return Failed(f"the mail server refused the login ({error.smtp_code})")
        except smtplib.SMTPResponseException as error:
            return _answered(error.smtp_code, error.smtp_error)
        except (OSError, smtplib.SMTPException, ValueError) as error:
            return self._broken(error)
        finally:
            self._hang_up()

    def cut_off(self, limit_s: float) -> Outcome:
        """End a conversation that takes too long. Its thread gets an error and hands over nothing more."""
        with self.turn:
            self.over = True
            given = self.given
        sock = self.smtp.sock if self.smtp is not None else None
        if sock is not None:
            with suppress(OSError):  # it may have ended by itself just now
                sock.shutdown(socket.SHUT_RDWR)
        if given:
            return Failed(f"the mail server took the text and did not confirm it within {limit_s:.0f} s", unknown=True)
        return Failed(f"the mail server was not ready for the text within {limit_s:.0f} s")

    def _connected(self) -> smtplib.SMTP:
        plugin, context = self.plugin, ssl.create_default_context()
        if not plugin.verify_certificate:
            context.check_hostname = False
            context.verify_mode = ssl.CERT_NONE
        smtp: smtplib.SMTP
        if plugin.secure_mode == "ssl":
            smtp = smtplib.SMTP_SSL(plugin.smtp_host, plugin.port, OWN_NAME, timeout=STEP_S, context=context)
        else:
            smtp = smtplib.SMTP(plugin.smtp_host, plugin.port, OWN_NAME, timeout=STEP_S)
        if plugin.secure_mode == "starttls":
            smtp.starttls(context=context)
        smtp.ehlo_or_helo_if_needed()
        if plugin.user and plugin.password:
            smtp.login(plugin.user, plugin.password)
        return smtp

    def _broken(self, error: Exception) -> Failed:
        if self.given:
            return Failed("the mail server took the text but did not confirm it", unknown=True)
        if isinstance(error, ssl.SSLError):
            return Failed("no secure connection to the mail server (certificate or protocol)")
        return Failed(f"no conversation with the mail server ({type(error).__name__})")

    def _hang_up(self) -> None:
        """Say goodbye. The outcome is known by now; a rude ending changes nothing."""
        if self.smtp is not None:
            with suppress(OSError, smtplib.SMTPException, ValueError):
                self.smtp.quit()
            self.smtp.close()


def _expect(answer: tuple[int, bytes]) -> None:
    code, words = answer
    if code == -1:
        raise smtplib.SMTPServerDisconnected("no answer")
    if not 200 <= code < 300:
        raise smtplib.SMTPResponseException(code, words)


def _answered(code: int, words: bytes | str) -> Failed:
    """A refusal in the server's words: 4yz passes, 5yz stays (RFC 5321 4.2.1)."""
    text = words.decode("utf-8", "replace") if isinstance(words, bytes) else words
    return Failed(f"the mail server answered {code} {' '.join(text.split())[:160]}", permanent=500 <= code < 600)
