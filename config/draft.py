"""An estate as read, before the rules across fields and files are checked."""

from dataclasses import dataclass, field
from datetime import time
from typing import Any

from config.models import Estate, Feed, Hours, Lawn, Person, Product, Programme, Risk, Rules, Step
from config.parts import Item

BRIEF_AT = time(6)


@dataclass(frozen=True)
class Season:
    """A programme and its steps, each with its own place in the file."""

    item: Item[Programme]
    steps: tuple[Item[Step], ...]

    def whole(self) -> Programme:
        """The programme with its steps."""
        return self.item.part.model_copy(update={"steps": tuple(step.part for step in self.steps)})


@dataclass
class Draft:
    """Everything read. `unread` names the kinds whose files could not be read: no reference to them can be judged."""

    head: Item[Estate]
    feed: Item[Feed]
    hours: Item[Hours]
    risk: Item[Risk]
    rules: Item[Rules]
    people: list[Item[Person]] = field(default_factory=list)
    lawns: list[Item[Lawn]] = field(default_factory=list)
    products: list[Item[Product]] = field(default_factory=list)
    programmes: list[Season] = field(default_factory=list)
    unread: set[str] = field(default_factory=set)

    def estate(self) -> Estate:
        """The estate; only meaningful once no problem was found."""
        parts: dict[str, Any] = {
            "feed": self.feed.part,
            "hours": self.hours.part,
            "risk": self.risk.part,
            "rules": self.rules.part,
            "people": tuple(_with_brief(item.part) for item in self.people),
            "lawns": tuple(item.part for item in self.lawns),
            "products": tuple(item.part for item in self.products),
            "programmes": tuple(season.whole() for season in self.programmes),
        }
        return self.head.part.model_copy(update=parts)


def _with_brief(person: Person) -> Person:
    """Whoever can be reached gets a morning brief, at six unless said otherwise; clients only when they ask for one."""
    if person.brief_at is None and person.reach and person.role != "client":
        return person.model_copy(update={"brief_at": BRIEF_AT})
    return person
