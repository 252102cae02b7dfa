"""Rules on the feed and on the addresses of people. No address is quoted in a problem: it may hold a password."""

import re
from collections.abc import Iterator, Mapping
from typing import get_args

from config.addresses import feed_address_fault, host_of, is_contact, is_free_open_meteo, is_local
from config.models import Feed, Person, Provider
from config.parts import Item
from config.problems import Problem
from config.secrets import well_formed, without_secrets
from config.wording import found_text

_WANT_CONTACT = ("met-norway", "nws")  # their terms of service ask every client to identify itself
_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://.")
_SECRET_FORM = "${NAME} with letters, digits and _, not starting with a digit"
_LOCAL_ALLOWED = "an address elsewhere (LIGULE_ALLOW_LOCAL=1 allows this machine and private networks)"


def check_feed(item: Item[Feed], environ: Mapping[str, str]) -> Iterator[Problem]:
    """Every broken rule of [feed]."""
    if item.sound("order") and not item.part.order:
        yield item.problem("order", "an empty list", "at least one provider")
    order = _order(item)
    names = [provider for _, provider in order]
    for place, (number, provider) in enumerate(order):
        if provider in names[:place]:
            yield item.source.problem(("order", number), found_text(provider), "each provider once")
    yield from _contact(item)
    yield from _terms(item)
    for provider, url in _urls(item).items():
        if fault := _url_fault(url, environ):
            yield item.problem(f"urls.{provider}", *fault)


def check_reach(item: Item[Person], environ: Mapping[str, str]) -> Iterator[Problem]:
    """Every broken rule of one person's addresses."""
    for number, url in item.texts("reach"):
        if fault := _reach_fault(url, environ):
            yield item.source.problem(("reach", number), *fault)


def _order(item: Item[Feed]) -> list[tuple[int, str]]:
    """The providers in order, also those that stand beside an unknown one."""
    return item.texts("order") if "order" in item.raw else list(enumerate(item.part.order))


def _urls(item: Item[Feed]) -> dict[str, str]:
    """The addresses that are texts, also those that stand beside a wrong one."""
    urls = item.raw.get("urls")
    known = urls.items() if isinstance(urls, dict) else ()
    return {name: url.strip() for name, url in known if name in get_args(Provider) and isinstance(url, str)}


def _contact(item: Item[Feed]) -> Iterator[Problem]:
    feed = item.part
    asking = sorted({provider for _, provider in _order(item) if provider in _WANT_CONTACT})
    if not item.sound("contact"):
        return
    if feed.contact and not is_contact(feed.contact):
        yield item.problem("contact", found_text(feed.contact), "an e-mail address or a web address, in plain ASCII")
    elif asking and not feed.contact:
        why = f"an e-mail or web address: the terms of {' and '.join(asking)} ask who is calling"
        yield item.problem("contact", None, why)


def _terms(item: Item[Feed]) -> Iterator[Problem]:
    """Open-Meteo's terms (open-meteo.com/en/terms): the free host serves non-commercial use only."""
    number = next((number for number, provider in _order(item) if provider == "open-meteo"), None)
    if number is None or item.part.non_commercial or not item.sound("non_commercial"):
        return
    own = _urls(item).get("open-meteo")
    if own is None and not item.sound("urls"):
        return
    allowed = "non_commercial = true, or an own or paid host in feed.urls (the free host's terms allow no business use)"
    if own is None:
        yield item.source.problem(("order", number), "the free open-meteo host", allowed)
    elif is_free_open_meteo(host_of(without_secrets(own))):
        yield item.problem("urls.open-meteo", "the free open-meteo host", allowed)


def _url_fault(url: str, environ: Mapping[str, str]) -> tuple[str, str] | None:
    """What is wrong with a feed's address and what is allowed; secrets in it are only checked for their form."""
    if not well_formed(url):
        return "a ${ without a name and }", _SECRET_FORM
    if url.startswith("${"):
        return None  # the whole address is a secret: it is judged when it is filled in
    plain = without_secrets(url)
    if fault := feed_address_fault(plain):
        return fault, "http:// or https://, a host, no user and password; keys as ${NAME}"
    return _local_fault(plain, environ)


def _reach_fault(url: str, environ: Mapping[str, str]) -> tuple[str, str] | None:
    if not well_formed(url):
        return "a ${ without a name and }", _SECRET_FORM
    if url.startswith("${"):
        return None
    plain = without_secrets(url)
    if not _SCHEME.match(plain):
        return "an address without a scheme", 'an Apprise URL such as "mailtos://...", or ${NAME}'
    return _local_fault(plain, environ)


def _local_fault(plain: str, environ: Mapping[str, str]) -> tuple[str, str] | None:
    if environ.get("LIGULE_ALLOW_LOCAL") != "1" and is_local(host_of(plain)):
        return "an address on this machine or a private network", _LOCAL_ALLOWED
    return None
