"""A brief as a message: short plain text for a phone, and the same as HTML for mail."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup, escape

from config.models import Estate, Person
from scheduler.messages import show
from scheduler.values import Brief, CellWeather, Line, Message, Verdict, WeatherWarning
from scheduler.weather.cells import cell_of

# A word, a shape and a colour for every state; blue and ochre stay apart for colour-blind eyes, no colour stands alone.
SIGN: dict[Verdict, str] = {"go": "▲ GO", "hold": "■ HOLD", "unknown": "? NO DATA"}
COLOUR: dict[Verdict, str] = {"go": "#12508c", "hold": "#8a4b00", "unknown": "#4a4a4a"}
LABEL_FIRST = "The product label and local law come first; a licensed person decides on pesticides."
MOST_COMING = 5
MOST_NAMED = 3
AHEAD = timedelta(days=1)


def message_for(
    brief: Brief,
    estate: Estate,
    person: Person | None,
    *,
    trial: bool,
    delayed: bool,
    missed: date | None = None,
    pictures: Mapping[str, bytes] | None = None,
) -> Message:
    """The morning message of one brief.

    `trial`: the clock is not the real one; `delayed`: it goes out late; `missed`: the date of a brief before it that
    reached nobody; `pictures`: lawn id -> PNG of its coming days, shown by mail.
    """
    zone = person.timezone if person and person.timezone else estate.timezone
    notes = [*_notes(brief, zone, trial, delayed, missed), *warning_notes(brief, estate, zone)]
    title = f"{show.day(brief.local_date)}: {tally(brief)} - {brief.estate}"
    groups = [(name, said_once(lines, estate)) for name, lines in groupby(brief.lines, key=lambda x: x.group)]
    cautions = shared_cautions(brief.lines)
    text = _text(brief, groups, notes, cautions, zone)
    page = _HTML.render(
        title=title,
        groups=groups,
        notes=notes,
        cautions=cautions,
        coming=[f"{lawn}: {product} from {show.day(when)}" for lawn, product, when in brief.coming[:MOST_COMING]],
        feeds=feed_lines(brief.cells, brief.now),
        label=LABEL_FIRST,
        pictures=[(_content_id(lawn, brief), estate.lawn(lawn).name) for lawn in pictures or ()],
    )
    attached = tuple((_content_id(lawn, brief), png) for lawn, png in (pictures or {}).items())
    return Message(title, text, page, attached)


def _content_id(lawn: str, brief: Brief) -> str:
    """A name for a picture that no other mail uses for another (RFC 2392)."""
    return f"{lawn}.{brief.now:%Y%m%dT%H%M%S}@ligule"


@dataclass(frozen=True)
class Told:
    """What is said of one application, or of several alike: sign with the hours of a go, what to do, and whereon."""

    sign: str
    colour: str
    text: str
    about: tuple[tuple[str, str], ...]

    @property
    def subjects(self) -> str:
        """Lawns and products."""
        return "; ".join(f"{lawn}, {product}" for lawn, product in self.about)

    @property
    def subjects_html(self) -> Markup:
        """The same, the lawns in bold."""
        return Markup("; ".join(f"<b>{escape(lawn)}</b>, {escape(product)}" for lawn, product in self.about))


def said_once(lines: Iterable[Line], estate: Estate) -> list[Told]:
    """Lines with the same sign and text become one about several lawns: a round held by one shower is one line.

    A go stays a line of its own: what to measure out is for one lawn, and must not be read as for all of them.
    """
    alike: dict[tuple[tuple[str, str, str], str], list[tuple[str, str]]] = {}
    for line in lines:
        alone = line.lawn if line.verdict == "go" else ""
        alike.setdefault((_said(line, estate), alone), []).append((line.lawn_name, line.product_name))
    return [Told(*said, tuple(about)) for (said, _), about in alike.items()]


def _said(line: Line, estate: Estate) -> tuple[str, str, str]:
    """Sign, colour and text of a line; what the sign says is not said again."""
    zone = estate.zone_of(estate.lawn(line.lawn))
    sign, text = SIGN[line.verdict], line.text
    if line.verdict == "go" and line.window is not None:
        hours = show.span(line.window, zone)
        sign, text = f"{sign} {hours}", text.removeprefix(f"Go {hours}").lstrip(":, ")
    for word in ("Hold: ", "No decision: "):
        text = text.removeprefix(word)
    return sign, COLOUR[line.verdict], text[:1].upper() + text[1:]


def tally(brief: Brief) -> str:
    """ "2 go, 1 hold, 1 no data"; "nothing due"."""
    counts = [(sum(line.verdict == state for line in brief.lines), word)
              for state, word in (("go", "go"), ("hold", "hold"), ("unknown", "no data"))]  # fmt: skip
    said = [f"{count} {word}" for count, word in counts if count]
    return ", ".join(said) if said else "nothing due"


def shared_cautions(lines: Sequence[Line]) -> list[tuple[str, str]]:
    """Cautions of the lines that may be acted on, each said once with the lawns it is for."""
    seen: dict[str, dict[str, None]] = {}
    for line in lines:
        if line.verdict == "go":
            for caution in line.cautions:
                seen.setdefault(caution, {})[line.lawn_name] = None
    general = "The product label and local law come first."
    several = len({line.lawn for line in lines}) > 1
    return [(text, ", ".join(names) if several else "") for text, names in seen.items() if text != general]


def feed_lines(cells: Iterable[CellWeather], now: datetime) -> list[str]:
    """Where the weather comes from and how old it is, one line per feed, with the credit its terms ask for."""
    found: dict[str, list[float]] = {}
    troubles = []
    for cell in cells:
        if cell.forecast is not None:
            age = (now - cell.forecast.issued).total_seconds() / 3600.0
            found.setdefault(cell.forecast.attribution or cell.forecast.provider, []).append(age)
        if cell.state != "fresh":
            troubles.append(f"Weather for {cell.cell}: {cell.why}.")
    told = [f"{credit}; issued {_age(min(ages), max(ages))} ago." for credit, ages in found.items()]
    return [*troubles[:3], *([f"... and {len(troubles) - 3} more places."] if len(troubles) > 3 else []), *told]


def _age(low: float, high: float) -> str:
    def say(hours: float) -> str:
        return f"{hours * 60:.0f} min" if hours < 2 else f"{hours:.0f} h"

    return say(low) if say(low) == say(high) else f"{say(low)} to {say(high)}"


def _notes(brief: Brief, zone: str, trial: bool, delayed: bool, missed: date | None) -> list[str]:
    notes = []
    if trial:
        notes.append("TRIAL: the clock of this message was set by hand. Do not act on it.")
    if delayed:
        notes.append(f"This message is late; it was decided at {show.clock(brief.now, zone)}.")
    if missed:
        notes.append(f"The brief of {show.day(missed)} could not be delivered.")
    return notes


def warning_notes(brief: Brief, estate: Estate, zone: str) -> list[str]:
    """Warnings in force on the brief's lawns, or within a day from now, each said once with the lawns it is for."""
    warned = {cell.cell: cell.warnings for cell in brief.cells if cell.warnings}
    if not warned:
        return []
    names: dict[WeatherWarning, dict[str, None]] = {}
    for line in brief.lines:
        lawn = estate.lawn(line.lawn)
        for warning in warned.get(cell_of(lawn.latitude, lawn.longitude), ()):
            if warning.onset <= brief.now + AHEAD:
                names.setdefault(warning, {})[line.lawn_name] = None
    everywhere = len({line.lawn_name for line in brief.lines})
    return [_warning_note(one, list(at), len(at) == everywhere, brief.now, zone) for one, at in names.items()]


def _warning_note(warning: WeatherWarning, lawns: list[str], is_everywhere: bool, now: datetime, zone: str) -> str:
    """ "Flood Watch from Mon 4 May 14:00 until Tue 5 May 06:00, US National Weather Service: Front lawn, Back lawn"."""
    begins = f" from {_at(warning.onset, zone)}" if warning.onset > now else " in force"
    ends = f" until {_at(warning.ends, zone)}" if warning.ends else ""
    more = f" and {len(lawns) - MOST_NAMED} more" if len(lawns) > MOST_NAMED else ""
    where = "" if is_everywhere else f": {', '.join(lawns[:MOST_NAMED])}{more}"
    return f"{warning.event}{begins}{ends} (US National Weather Service){where}."


def _at(when: datetime, zone: str) -> str:
    return f"{show.day(when.astimezone(ZoneInfo(zone)).date())} {show.clock(when, zone)}"


def _text(
    brief: Brief, groups: list[tuple[str, list[Told]]], notes: list[str], cautions: list[tuple[str, str]], zone: str
) -> str:
    """Plain text, most useful line first within each round."""
    parts = [f"{show.day(brief.local_date)}: {tally(brief)}", *notes]
    for name, lines in groups:
        if name:
            parts.append(f"\nROUND {name}")
        for line in lines:
            parts.append(f"\n{line.sign}  {line.subjects}\n{line.text}")
    if not brief.lines:
        parts.append("\nNothing is due today.")
    if cautions:
        parts.append("\nMIND")
        parts += [f"- {text} ({names})" if names else f"- {text}" for text, names in cautions]
    if brief.coming:
        parts.append("\nCOMING")
        parts += [f"- {lawn}: {product} from {show.day(when)}" for lawn, product, when in brief.coming[:MOST_COMING]]
    parts.append("")
    parts += [LABEL_FIRST, *feed_lines(brief.cells, brief.now)]
    return "\n".join(parts).strip() + "\n"


# Mail readers strip style sheets, so every style stands on its element; no script, no link but text, and
# no picture but those that come with the mail.
_HTML = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True).from_string("""\
<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{ title }}</title></head>
<body style="margin:0;padding:12px;background:#ffffff;color:#1c1c1c;font:16px/1.4 Georgia,'Times New Roman',serif">
<div style="max-width:560px;margin:0 auto">
<h1 style="font-size:19px;margin:0 0 10px">{{ title }}</h1>
{% for note in notes %}
<p style="margin:0 0 10px;padding:8px;border:2px solid #1c1c1c"><b>{{ note }}</b></p>
{% endfor %}
{% for name, lines in groups %}
{% if name %}<h2 style="font-size:15px;margin:18px 0 6px;letter-spacing:1px">ROUND {{ name }}</h2>{% endif %}
{% for line in lines %}
<div style="margin:0 0 12px;padding:2px 0 2px 12px;border-left:5px solid {{ line.colour }}">
<div><b style="color:{{ line.colour }}">{{ line.sign }}</b>&ensp;
{% for lawn, product in line.about %}
<b>{{ lawn }}</b>, {{ product }}{% if not loop.last %}<br>{% endif %}
{% endfor %}</div>
<div>{{ line.text }}</div>
</div>
{% endfor %}
{% else %}
<p>Nothing is due today.</p>
{% endfor %}
{% if cautions %}
<h2 style="font-size:15px;margin:18px 0 6px;letter-spacing:1px">MIND</h2>
<ul style="margin:0;padding-left:20px">
{% for text, names in cautions %}
<li>{{ text }}{% if names %} <span style="color:#4a4a4a">({{ names }})</span>{% endif %}</li>
{% endfor %}
</ul>
{% endif %}
{% if coming %}
<h2 style="font-size:15px;margin:18px 0 6px;letter-spacing:1px">COMING</h2>
<ul style="margin:0;padding-left:20px">{% for item in coming %}<li>{{ item }}</li>{% endfor %}</ul>
{% endif %}
{% for cid, lawn in pictures %}
<p style="margin:18px 0 0"><img src="cid:{{ cid }}" width="832" style="width:100%;max-width:520px;height:auto"
alt="The coming days of {{ lawn }}: windows, rain, wind and temperature"></p>
{% endfor %}
<p style="margin:18px 0 0;font-size:13px;color:#4a4a4a">{{ label }}
{% for feed in feeds %}<br>{{ feed }}{% endfor %}</p>
</div></body></html>
""")
