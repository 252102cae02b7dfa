"""A drafted programme as an adviser's letter: plain text of at most 80 columns."""

import math
import textwrap
from collections.abc import Iterator, Sequence

from config.models import Estate, Lawn
from config.packs import load_pack
from config.reference_data import grass_species
from scheduler.agronomy import units as u
from scheduler.messages import show
from scheduler.messages.letter_sums import sums, table
from scheduler.messages.letter_words import (
    MONTHS,
    amount,
    join,
    passed_over,
    rate,
    reason,
    repeats,
    span,
    starter,
)
from scheduler.season.suggest_toml import products_toml, programme_id, programme_toml
from scheduler.season.suggest_values import Stage, Suggestion

WIDTH = 80
USES = {"family": "a family lawn", "ornamental": "a lawn to look at", "sport": "a playing surface"}
EFFORTS = {
    "few": "a few visits a year are what you can give it",
    "monthly": "you can give it a visit about once a month",
    "weekly": "you are willing to feed it a little every week or so",
}
LABEL = (
    "This is advice, not an order: the product label and local law come first, and where a weed or moss killer is "
    "concerned so does a licensed person. The plan gives the season; each morning Ligule looks at the weather and "
    "says whether it is the day."
)


def letter(estate: Estate, told: Suggestion) -> str:
    """The whole letter, the ready TOML at its end."""
    parts = [*_opening(estate, told), *_body(estate, told), LABEL]
    text = "\n\n".join(_fill(part) for part in parts)
    return "\n\n".join([text, *_ready(estate, told)]) + "\n"


def _fill(part: str) -> str:
    """One paragraph or list, wrapped; a table or heading (marked by a leading space or a line of dashes) as it is."""
    if part.startswith(" ") or "\n---" in part:
        return part
    lines = []
    for line in part.splitlines():
        hang = "  " if line.startswith("- ") else ""
        lines += textwrap.wrap(line, WIDTH, subsequent_indent=hang, break_on_hyphens=False) or [""]
    return "\n".join(lines)


def _heading(text: str) -> str:
    return f"{text}\n{'-' * len(text)}"


# --- what the lawn is and wants ----------------------------------------------------------------------------------


def _opening(estate: Estate, told: Suggestion) -> Iterator[str]:
    title = textwrap.shorten(f"{told.lawn.name}: a feeding plan for {told.season}", WIDTH, placeholder="...")
    yield f"{title}\n{'-' * min(len(title), WIDTH)}"
    yield f"{_lawn(told, estate.units)} {_wanted(told, estate.units)}"
    if told.climate.assumed:
        yield _guess(told, given=estate.monthly_mean_c is not None)
    if told.keep_from_water_m is not None:
        yield _strip(told, told.keep_from_water_m, estate.units)


def _guess(told: Suggestion, *, given: bool) -> str:
    """That the climate is a guess, and what would make it none."""
    place = f"latitude {abs(told.lawn.latitude):.1f}° {'S' if told.southern else 'N'}"
    if given:
        return (
            "The monthly temperatures in estate.toml are of the other side of the equator, so for this lawn I took a "
            f"coarse figure for {place}; the dates may be two or three weeks out."
        )
    return (
        f"One thing I had to guess: the temperatures of your place. I took a coarse figure for {place}, so the dates "
        "may be two or three weeks out. Put the twelve monthly means, January to December, into estate.toml as "
        "monthly_mean_c and ask again."
    )


def _strip(told: Suggestion, strip_m: float, units: str) -> str:
    """What has to be done about water that lies too near."""
    near, strip = _distance(told.lawn.water_within_m or 0.0, units), _distance(strip_m, units)
    entered = math.ceil(strip_m * 1000) / 1000
    return (
        f"Water lies {near} away, nearer than the rules let anything be spread. The plan is for the lawn beyond a "
        f"strip of {strip} that stays untreated. Mark that strip, enter the distance you keep as water_within_m = "
        f"{entered:g}, and the area without it; until then Ligule will hold every job on this lawn."
    )


def _distance(metres: float, units: str) -> str:
    return f"{u.ft_from_m(metres):.0f} ft" if units == "us" else f"{metres:.3g} m"


def _lawn(told: Suggestion, units: str) -> str:
    lawn = told.lawn
    soil = f" on {lawn.soil.replace('-', ' ')}" if lawn.soil else ""
    water = {"none": "never watered", "hose": "watered by hose when need be", "system": "watered by a system"}
    area = show.area(lawn.area_m2, units)
    return (
        f"You have {area} of {_grass(lawn)}{soil}, {water[lawn.irrigation]}; it is {USES[told.wishes.use]}, and "
        f"{EFFORTS[told.wishes.effort]}."
    )


def _grass(lawn: Lawn) -> str:
    if lawn.species is None or lawn.species.endswith("-mixed"):
        return f"mixed {lawn.grass}-season grass"
    return grass_species()[lawn.species].name.lower().replace("kentucky", "Kentucky").replace("st aug", "St Aug")


def _wanted(told: Suggestion, units: str) -> str:
    target = told.target
    wanted = show.per_area(target.wanted, units)
    low, high = show.per_area(target.low, units).partition(" ")[0], show.per_area(target.high, units)
    common = f"Published advice for grass like this is {low} to {high} of nitrogen a year [{target.source}]."
    if told.no_season:
        return common
    if target.cap is not None:
        return f"{common} Your local rules stop at {wanted} ({target.cap_source}), so that is what I have planned for."
    if target.fixed:
        odd = ""
        if target.wanted > target.high * 1.02:
            odd = " That is more than the published range and more than I would give; I go towards it as you asked."
        elif target.wanted < target.low * 0.98:
            odd = " That is less than the published range: expect it thinner and paler, and needing less mowing."
        return f"{common} You set the year's nitrogen at {wanted}.{odd}"
    place = (target.wanted - target.low) / (target.high - target.low)
    where = "near the low end" if place < 0.2 else "a little below the middle" if place < 0.5 else "in the upper half"
    return f"{common} I have aimed for {wanted}, {where} of that, {_because(told)}."


def _because(told: Suggestion) -> str:
    """Why the target lies where it does."""
    lawn, wishes = told.lawn, told.wishes
    why = {
        "sport": "because worn turf has to grow back",
        "ornamental": "which keeps it dense without forcing it",
        "family": "which is what ordinary use asks for",
    }[wishes.use]
    if wishes.clippings == "removed":
        why += " and the clippings, with the nitrogen in them, are taken away"
    elif wishes.use != "sport":
        why += " while the clippings stay on it"
    return why + ("; a lawn that nobody waters can use no more" if lawn.irrigation == "none" else "")


# --- what to do --------------------------------------------------------------------------------------------------


def _body(estate: Estate, told: Suggestion) -> Iterator[str]:
    if told.no_season or not told.stages:
        yield _nothing(told)
    else:
        yield _heading("What to do, and when")
        yield from _steps(told, estate.units)
        yield from _already_past(told)
        yield _heading("What it comes to")
        yield table(told, estate.units)
        yield sums(told, estate.units)
    if told.no_season:
        return
    if told.against:
        yield _heading("What I would leave alone")
        yield "\n".join(f"- {item.advice}" for item in told.against)
    remarks = list(_remarks(estate, told))
    if remarks:
        yield _heading("Before you start")
        yield "\n".join(f"- {remark}" for remark in remarks)


def _nothing(told: Suggestion) -> str:
    if told.no_season:
        return (
            f"I cannot draft a plan: {told.no_season}. Check the lawn's place and its grass, and the monthly "
            "temperatures if you gave any."
        )
    return (
        "I found no feed that may go on this lawn this season; what stood in the way is said below. Nothing is better "
        "than something that breaks a rule."
    )


def _steps(told: Suggestion, units: str) -> Iterator[str]:
    """One paragraph for each feed; the liquids of several months in one."""
    before: set[str] = set()
    for stages in _paragraphs(told.stages):
        role, product = stages[0].role, stages[0].product
        again = role in before
        before.add(role)
        how = repeats(stages)
        each = amount(told.lawn, product, units) + (" for the whole lawn" if how == "once" else " each time")
        yield (
            f"{span(stages[0].first, stages[-1].last)}: {product.name}, {rate(product, units)}\n"
            f"{how[0].upper()}{how[1:]}: {each}. {reason(told, stages[0], again=again)}"
        )


def _already_past(told: Suggestion) -> Iterator[str]:
    """What of the season lies behind, and that nothing of it is made up for."""
    gone = told.already_past()
    if gone:
        ahead = [stage for stage in told.stages if stage not in gone]
        begin = f"Begin with {ahead[0].product.name}" if ahead else "Begin next season"
        yield f"What comes before {_date(told)} is past for this season. {begin}, and make up for nothing."


def _date(told: Suggestion) -> str:
    return f"{told.drafted_on.day} {MONTHS[told.drafted_on.month - 1]}"


def _paragraphs(stages: Sequence[Stage]) -> list[list[Stage]]:
    """Stages that are told together: those of the spoon that follow one another."""
    found: list[list[Stage]] = []
    for stage in stages:
        if found and stage.role == "spoon" == found[-1][-1].role:
            found[-1].append(stage)
        else:
            found.append([stage])
    return found


# --- before you start --------------------------------------------------------------------------------------------


def _remarks(estate: Estate, told: Suggestion) -> Iterator[str]:
    generic = list(dict.fromkeys(stage.product.name for stage in told.stages if not stage.own))
    if generic:
        why = "For what your own products cannot do" if estate.products else "You have no products yet, so"
        yield (
            f"{why} I have written in {join(generic)}. "
            + (
                "No such products exist: look for some like them, and type their sheets from the labels."
                if len(generic) > 1
                else "No such product exists: look for one like it, and type its sheet from the label."
            )
        )
    yield from passed_over(told.passed_over, estate.units)
    if told.starter is not None:
        yield starter(told.starter, estate.units)
    if told.lawn.soil_test_on is None:
        yield "Have the soil tested; it is the one thing I would pay for before any feed."
    if told.stages and told.lawn.children_or_pets:
        yield (
            "Children and pets stay off a spray until it is dry, and off granules until they have dissolved and the "
            "grass is dry again, a day or two; choose days when that is no hardship."
        )
    if any(stage.product.form != "liquid" for stage in told.stages):
        yield (
            "Set the spreader on a measured patch first, and go over the lawn twice at half the rate, the second time "
            "across the first."
        )
    if told.wishes.moss:
        yield "Moss comes back unless what it likes is dealt with: shade, wet, sour soil, close mowing."
    for name in estate.rules.packs:
        pack = load_pack(name)
        yield f"I kept to the rules of {pack.title} as they ship with Ligule; check them with {pack.authority}."
        yield from pack.cautions


def _ready(estate: Estate, told: Suggestion) -> Iterator[str]:
    """The TOML to paste, and where it goes."""
    if not told.stages:
        return
    products = products_toml(told)
    if products:
        yield _fill("For products.toml, until you have typed sheets of your own:") + "\n\n" + products.rstrip("\n")
    name = programme_id(estate, told)
    yield _fill(f'For programmes.toml; then set programme to "{name}" for this lawn:')
    yield programme_toml(estate, told).rstrip("\n")
