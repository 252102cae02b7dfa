"""Rules across the fields and files of an estate, every one checked in one run.

A rule says nothing about a field that was already reported, nor about references into a file that cannot be read.
"""

import zoneinfo
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from typing import Any

from config.check_addresses import check_feed, check_reach
from config.check_places import check_places
from config.check_products import check_product, day_exists, ordered_days
from config.draft import Draft
from config.packs import pack_names
from config.parts import Item
from config.problems import Problem
from config.wording import found_text, known_text

_ZONES_OF_A_MACHINE = {"localtime", "posixrules", "Factory"}


def check(draft: Draft, environ: Mapping[str, str]) -> list[Problem]:
    """Every broken rule of a draft."""
    return [
        *_repeated_ids(draft),
        *_references(draft),
        *_zones(draft),
        *_hours(draft),
        *_risk(draft),
        *_rules(draft),
        *_people(draft),
        *_programmes(draft),
        *(problem for item in draft.products for problem in check_product(item)),
        *check_places(draft.lawns, draft.head.part.timezone),
        *check_feed(draft.feed, environ),
        *(problem for item in draft.people for problem in check_reach(item, environ)),
    ]


def _ids(items: Iterable[Item[Any]]) -> set[str]:
    """Every id written down, also of parts that are wrong otherwise: a reference to them is no second mistake."""
    return {name.strip() for item in items if isinstance(name := item.raw.get("id"), str)}


def _repeated_ids(draft: Draft) -> Iterator[Problem]:
    seasons = [season.item for season in draft.programmes]
    for items in (draft.lawns, draft.people, draft.products, seasons):
        first: dict[str, Item[Any]] = {}
        for item in items:
            name = item.raw.get("id")
            if not isinstance(name, str) or not item.sound("id"):
                continue
            earlier = first.setdefault(name.strip(), item)
            if earlier is not item:
                yield item.problem(
                    "id", f"{found_text(name)} again", f"each id once (first in {earlier.source.place()})"
                )


def _references(draft: Draft) -> Iterator[Problem]:
    programmes, products = _ids(season.item for season in draft.programmes), _ids(draft.products)
    if "programmes" not in draft.unread:
        for lawn in draft.lawns:
            name = lawn.part.programme
            if name is not None and name not in programmes:
                yield lawn.problem("programme", found_text(name), known_text(name, programmes, "a programme's id"))
    if "products" not in draft.unread:
        for step in (step for season in draft.programmes for step in season.steps):
            name = step.part.product
            if step.sound("product") and name not in products:
                yield step.problem("product", found_text(name), known_text(name, products, "a product's id"))
    if "lawns" not in draft.unread:
        yield from _lawns_of_people(draft)


def _lawns_of_people(draft: Draft) -> Iterator[Problem]:
    lawns = _ids(draft.lawns)
    rounds = {item.part.round for item in draft.lawns if item.part.round}
    all_rounds_known = all(item.sound("round") for item in draft.lawns)
    for person in draft.people:
        for number, name in person.texts("lawns"):
            if name != "*" and name not in lawns:
                yield _entry(person, "lawns", number, name, known_text(name, lawns, 'a lawn\'s id, or "*" for all'))
        for number, name in person.texts("rounds"):
            if all_rounds_known and name not in rounds:
                yield _entry(person, "rounds", number, name, known_text(name, rounds, "a round some lawn belongs to"))


def _entry(item: Item[Any], field: str, number: int, found: str, allowed: str) -> Problem:
    return item.source.problem((field, number), found_text(found), allowed)


@cache
def _zone_names() -> frozenset[str]:
    return frozenset(zoneinfo.available_timezones() - _ZONES_OF_A_MACHINE)


@cache
def _zone_text(name: str) -> str:
    # Remembered, since a spreadsheet may repeat one wrong zone thousands of times.
    return known_text(name, _zone_names(), 'a time zone of the IANA list such as "Europe/London"')


def _zones(draft: Draft) -> Iterator[Problem]:
    holders: list[Item[Any]] = [draft.head, *draft.lawns, *draft.people]
    for item in holders:
        name = item.part.timezone
        if item.sound("timezone") and name is not None and name not in _zone_names():
            yield item.problem("timezone", found_text(name), _zone_text(name))


def _hours(draft: Draft) -> Iterator[Problem]:
    item, hours = draft.hours, draft.hours.part
    if item.sound("start", "end") and hours.start >= hours.end:
        name = "end" if "end" in item.raw else "start"
        yield item.problem(name, f"{hours.start:%H:%M} to {hours.end:%H:%M}", "an end after the start, on the same day")
    if item.sound("days") and not hours.days:
        yield item.problem("days", "an empty list", "at least one day")
    yield from _once(item, "days")


def _once(item: Item[Any], field: str) -> Iterator[Problem]:
    seen: set[str] = set()
    for number, value in item.texts(field):
        if value in seen:
            yield _entry(item, field, number, value, "each entry once")
        seen.add(value)


def _risk(draft: Draft) -> Iterator[Problem]:
    item, risk = draft.risk, draft.risk.part
    costs = ("cost_of_waiting", "loss_if_washed_off")
    given = [name for name in costs if name in item.raw]
    if given and "washed_off" in item.raw:
        yield item.problem(
            "washed_off", "both ways of stating the risk", f"either washed_off, or {' and '.join(costs)}"
        )
    elif len(given) == 1:
        other = costs[1] if given[0] == costs[0] else costs[0]
        yield item.problem(given[0], f"no {other} beside it", "both costs together")
    waiting, loss = risk.cost_of_waiting, risk.loss_if_washed_off
    if waiting is not None and loss is not None and waiting >= loss:
        found = f"{waiting:g}, not below loss_if_washed_off ({loss:g})"
        yield item.problem("cost_of_waiting", found, "less than the loss: else a liquid would never be held")


def _rules(draft: Draft) -> Iterator[Problem]:
    item = draft.rules
    for number, name in item.texts("packs"):
        if name not in pack_names():
            yield _entry(item, "packs", number, name, known_text(name, pack_names(), "a shipped pack"))
    yield from _once(item, "packs")
    for number, season in enumerate(item.part.closed):
        for end, day in enumerate(season):
            if not day_exists(day):
                yield item.source.problem(("closed", number, end), found_text(day), "a day of the calendar")


def _people(draft: Draft) -> Iterator[Problem]:
    for item in draft.people:
        person = item.part
        if item.sound("lawns", "rounds") and not person.lawns and not person.rounds:
            yield item.problem("lawns", None, 'lawns or rounds to look after, lawns = ["*"] for all')
        if person.quiet is not None and person.quiet[0] == person.quiet[1]:
            yield item.problem("quiet", f"twice {person.quiet[0]:%H:%M}", "two different times")


def _programmes(draft: Draft) -> Iterator[Problem]:
    for season in draft.programmes:
        for step in season.steps:
            for key, day in (("from", step.part.from_), ("to", step.part.to)):
                if not day_exists(day):
                    yield step.problem(key, found_text(day), "a day of the calendar")
            yield from ordered_days(step)
