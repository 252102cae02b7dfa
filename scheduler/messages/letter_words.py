"""The words of an adviser's letter: dates, rhythm, amounts, reasons, and why a product is passed over."""

import math
from collections.abc import Sequence
from itertools import groupby

from config.models import Lawn, Product
from scheduler.agronomy import units as u
from scheduler.agronomy.nutrients import nutrients, sheet_rate
from scheduler.messages import show
from scheduler.season.suggest_products import holds_soluble_badly, kind_of, wants_phosphate
from scheduler.season.suggest_values import PassedOver, Role, Stage, Starter, Suggestion
from scheduler.values import Limit

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")  # fmt: skip
TIMES = ("", "once", "twice", "three times", "four times", "five times", "six times")


def month_day(text: str) -> str:
    """ "9 April"."""
    return f"{int(text[3:])} {MONTHS[int(text[:2]) - 1]}"


def span(first: str, last: str) -> str:
    """ "9 April to 22 August"."""
    if first == last:
        return month_day(first)
    return (
        f"{int(first[3:])} to {month_day(last)}"
        if first[:2] == last[:2]
        else f"{month_day(first)} to {month_day(last)}"
    )


def rate(product: Product, units: str, value: float | None = None) -> str:
    """ "25 g/m²": the rate of the sheet, or another in its unit."""
    sheet, unit = sheet_rate(product)
    used = sheet if value is None else value
    if units == "us" and unit == "ml/m2":
        return f"{u.fl_oz_1000ft2_from_ml_m2(used):.3g} fl oz/1000 ft²"
    if units == "us":
        return f"{u.lb_1000ft2_from_g_m2(used):.3g} lb/1000 ft²"
    return f"{used:.4g} {unit.replace('m2', 'm²')}"


def amount(lawn: Lawn, product: Product, units: str) -> str:
    """What one visit takes on the whole lawn: "420 ml made up to 7.2 l with water"."""
    value, unit = sheet_rate(product)
    if unit == "g/m2":
        return show.weight(value * lawn.area_m2, units)
    spray = show.volume((product.water_ml_m2 or 0) * lawn.area_m2, units)
    return f"{show.volume(value * lawn.area_m2, units)} made up to {spray} with water"


def repeats(stages: Sequence[Stage]) -> str:
    """How often: "once", or the rhythm of each stretch ("every week from 1 May, 16 times at most")."""
    count = sum(len(stage.dates) for stage in stages)
    if count == 1:
        return "once"
    if len(stages) == 1 and count == 2:
        return f"twice, at least {_gap(stages[0])} days apart"
    said: list[str] = []
    for words, group in groupby(stages, key=_rhythm):
        first = next(group).first
        said.append(f"once in {MONTHS[int(first[:2]) - 1]}" if words == "once" else f"{words} from {month_day(first)}")
    return f"{', then '.join(said)}, {TIMES[count] if count < len(TIMES) else f'{count} times'} at most"


def _gap(stage: Stage) -> int:
    repeat = stage.every_days or stage.product.every_days
    return repeat[0] if repeat else 0


RHYTHMS = ((8, "every week"), (11, "every ten days or so"), (17, "every two weeks"), (25, "every three weeks"))


def _rhythm(stage: Stage) -> str:
    if len(stage.dates) == 1:
        return "once"
    return next((words for most, words in RHYTHMS if _gap(stage) <= most), "about once a month")


ALL_YEAR = 0.25  # growth potential in the slowest month, from which there is no winter to speak of
OFTEN_DAYS = 10
AGAIN: dict[Role, str] = {
    "middle": "The last one is used up again, and the grass is still growing well.",
    "spoon": "The little doses go on as before.",
    "moss": "The same again, for the moss that has come back since.",
}


# --- reasons -----------------------------------------------------------------------------------------------------


def reason(told: Suggestion, stage: Stage, *, again: bool = False) -> str:
    """Why a step is there, in one sentence."""
    if again and stage.role in AGAIN:
        return AGAIN[stage.role]
    return {
        "opening": _opening,
        "closing": _closing,
        "middle": _middle,
        "spoon": _spoon,
        "weeds": _weeds,
        "moss": _moss,
    }[stage.role](told, stage)


def _opening(told: Suggestion, stage: Stage) -> str:
    if min(told.growth) > ALL_YEAR:
        return "Grass never stops growing here, so the feeds are shared out over the whole year; this is the first."
    waking = "greening up" if told.lawn.grass == "warm" else "waking"
    why = f"The grass is {waking} and hungry by then, so it gets quick nitrogen it can use at once"
    if stage.dose.p2o5 > 0 and wants_phosphate(told.lawn, told.year):
        return f"{why}, with the phosphate your soil test asks for."
    if told.wishes.weeds != "none":
        return f"{why}; thick turf is also the best thing against weeds."
    return f"{why}, and thickens before weeds and wear get in."


def _middle(told: Suggestion, stage: Stage) -> str:
    if kind_of(stage.product) != "slow":
        return "By now growth has used up the feed before, and this one carries it on."
    if holds_soluble_badly(told.lawn):
        return "Slow release, because quick nitrogen washes through your sand before the roots have it."
    if told.lawn.irrigation == "none" and told.lawn.grass == "cool":
        return "Slow release feeds on through the summer from one visit and scorches least where nobody can water."
    return "Slow release feeds for three to four months from one visit, just while the grass grows fastest."


def _closing(told: Suggestion, stage: Stage) -> str:
    much_potash = stage.dose.k2o >= stage.dose.n
    if told.lawn.grass == "warm":
        start = "The last feed, while the grass still grows well enough to use it before its rest"
        return f"{start}, with potash for the cold." if much_potash else f"{start}."
    if much_potash:
        return "The last feed: little nitrogen and much potash, so that the grass goes into winter firm, not lush."
    return (
        "The last feed, early enough to be used up before the cold; when this bag is empty, one with more potash than "
        "nitrogen suits autumn better."
    )


def _spoon(told: Suggestion, stage: Stage) -> str:
    nearest = min(_gap(one) for one in told.stages if one.role == "spoon")
    rest = "the faster the grass grows, the more often it gets one"
    if nearest > OFTEN_DAYS:
        rest = "this grass wants too little in a year for it to be every week"
    return (
        "So small a dose goes in through the leaf within hours, keeps the colour even and leaves nothing to wash out; "
        f"{rest}."
    )


def _weeds(told: Suggestion, stage: Stage) -> str:
    spring = (stage.first >= "07-01") == told.southern
    moss = " and the iron sees to the moss" if told.wishes.moss and stage.dose.fe > 0 else ""
    return (
        f"Weeds are small and growing then, so the weed killer reaches them{moss}, and its nitrogen is your "
        f"{'spring' if spring else 'autumn'} feed: give no other beside it."
    )


def _moss(told: Suggestion, stage: Stage) -> str:
    return (
        "Iron blackens moss in cool, damp weather, when grass grows too little to need feeding; rake it out a week or "
        "two later."
    )


def starter(told: Starter, units: str) -> str:
    """What to do on the day of sowing."""
    when = f"{told.on.day} {MONTHS[told.on.month - 1]}"
    if told.forbidden is not None:
        return (
            f"Sow on {when} without a starter feed: {limit_words(told.forbidden, units)} ({rule_name(told.forbidden)})."
        )
    return (
        f"When you sow on {when}, rake a starter feed lightly into the seedbed first, such as {told.product.name} at "
        f"{rate(told.product, units)}: phosphate helps young roots. That is for once and not in the plan; record it."
    )


# --- products passed over ----------------------------------------------------------------------------------------


def passed_over(products: Sequence[PassedOver], units: str) -> list[str]:
    """Why products of the owner's are not in the plan; those with one reason together."""
    told: dict[str, list[str]] = {}
    for past in products:
        told.setdefault(why_not(past, units), []).append(past.product.name)
    return [f"I left out {join(names)}: {why}." for why, names in told.items()]


def why_not(past: PassedOver, units: str) -> str:
    """Why one product is not in the plan, without a full stop."""
    dose = nutrients(past.product)
    if past.reason == "strong":
        spent = show.per_area(dose.soluble_n, units)
        return f"at the sheet's rate that is {spent} of quick nitrogen at once, more than grass should get"
    if past.reason == "much":
        spent = show.per_area(dose.n, units)
        return f"one dose is {spent} of nitrogen, more than the year has room for beside the others"
    if past.reason == "young":
        return "the lawn is too newly sown for it this season"
    if past.reason == "time" or past.limit is None:
        return "there was no place for it between the others"
    lower = ""
    if past.fits_at is not None:
        fits = rate(past.product, units, math.floor(past.fits_at * 10) / 10)
        lower = f"; at {fits} it would fit, so change its rate if the label allows, and ask again"
    return f"{limit_words(past.limit, units)} ({rule_name(past.limit)}){lower}"


def rule_name(limit: Limit) -> str:
    """Where a rule stands, without the date it was read."""
    return limit.source.partition(" (seen ")[0]


def join(names: Sequence[str]) -> str:
    """ "A, B and C"."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def limit_words(limit: Limit, units: str) -> str:
    """What a rule says, in the reader's units."""
    if limit.value is not None and limit.name in ("nitrogen_cap", "phosphorus_cap") and limit.unit.startswith("g "):
        what = "phosphate" if "P2O5" in limit.unit else "quick nitrogen" if "soluble" in limit.unit else "nitrogen"
        when = limit.unit.partition(" in ")[2]
        most = limit.allowed[1]
        spent = f"{show.per_area(limit.value, units)} of {what} {f'in {when}' if when else 'at once'}"
        return spent if most is None else f"{spent}, and the rule stops at {show.per_area(most, units)}"
    if limit.note:
        return limit.note
    if limit.name == "new_turf":
        return f"nothing within {limit.allowed[0]:g} days of sowing"
    bound = limit.allowed[1] if limit.allowed[1] is not None else limit.allowed[0]
    return (
        f"{limit.name.replace('_', ' ')} {limit.value:g} {limit.unit} (limit {bound:g})" if limit.value else limit.name
    )
