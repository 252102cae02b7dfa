"""What the adviser would not do on a lawn, and why."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from config.advice import advice
from config.models import Estate
from scheduler.agronomy.nutrients import nutrients
from scheduler.season.suggest_book import Book
from scheduler.season.suggest_products import wants_phosphate
from scheduler.season.suggest_values import Against, Stage, Wishes

PAVING = "Iron beside pale paving"


def against(estate: Estate, book: Book, wishes: Wishes, stages: Sequence[Stage]) -> tuple[Against, ...]:
    """Everything the adviser warns of for this lawn, most pressing first. Never an order."""
    found = [
        *_new_turf(book),
        *_weeds(book, wishes, stages),
        *_paving(book, wishes, estate),
        *_phosphate(book, stages),
        *_seasons(book, stages),
    ]
    return tuple(found)


def _new_turf(book: Book) -> Iterator[Against]:
    sown = book.lawn.sown_on
    if sown is None:
        return
    early, late = (int(days) for days in advice("new_turf")["days"].value)
    source = advice("new_turf")["days"].source
    if sown + timedelta(days=late) < book.on(0):
        return
    fed, safe = sown + timedelta(days=early), sown + timedelta(days=late)
    yield Against(
        "new_turf",
        f"Feeding the new turf before {_day(fed)}, and better not before {_day(safe)}: it was sown or laid on "
        f"{_day(sown)} {sown.year}, and until it has rooted much of the nitrogen washes straight through.",
        source,
    )


def _weeds(book: Book, wishes: Wishes, stages: Sequence[Stage]) -> Iterator[Against]:
    if wishes.weeds == "large":
        yield Against(
            "large_weeds",
            "A combined feed-and-weed granule: it controls small, common weeds only. Large, established ones need a "
            "dedicated weed killer, put on the weeds themselves while they grow; ask somebody licensed which one.",
            "common practice",
        )
    if wishes.weeds == "small" and book.lawn.grass == "warm":
        yield Against(
            "weeds_on_warm_grass",
            "A combined granule on warm-season grass, unless its label names your grass: some weed killers scorch it, "
            "St Augustine and centipede above all, and none should go on while it greens up in spring.",
            "Clemson HGIC",
        )
    elif wishes.weeds == "small" and not any(stage.role == "weeds" for stage in stages):
        yield Against(
            "weeds_not_yet",
            "Weed control this season: no combined granule may go on this lawn while weeds are growing, be it the age "
            "of the turf, the room left for nitrogen or a local rule. Take small weeds out by hand for now.",
        )


def _paving(book: Book, wishes: Wishes, estate: Estate) -> Iterator[Against]:
    iron = wishes.moss or wishes.weeds == "small" or any(nutrients(product).fe > 0 for product in estate.products)
    if book.lawn.hard_edges and iron:
        yield Against(
            "iron_by_paving",
            f"{PAVING}: it leaves rust marks that do not come off. Keep a hand's breadth back from the edge, sweep "
            "granules off dry, and never hose them away.",
            "common practice",
        )


def _phosphate(book: Book, stages: Sequence[Stage]) -> Iterator[Against]:
    if wants_phosphate(book.lawn, book.season):
        return
    holding = sorted({stage.product.name for stage in stages if stage.dose.p2o5 > 0})
    tested = book.lawn.soil_test_on
    years = int(advice("soil_test")["years"].number)
    if tested is None or book.lawn.soil_test_p is None:
        why = "without a soil test nobody knows whether it is wanted, and what is not wanted ends in the ditch"
    elif book.season - tested.year > years:
        why = f"the soil test of {tested:%B %Y} is too old to go by"
    else:
        why = f"the soil test found phosphorus {book.lawn.soil_test_p.replace('-', ' ')}"
    some = (
        "holds some; look for one without when it is"
        if len(holding) == 1
        else "hold some; look for ones without when they are"
    )
    held = f" {_and(holding)} {some} used up." if holding else ""
    yield Against("phosphate", f"Phosphate: {why}.{held}", advice("soil_test")["years"].source)


def _seasons(book: Book, stages: Sequence[Stage]) -> Iterator[Against]:
    year, lawn = book.year, book.lawn
    if year.last is None or year.last >= 364:
        return
    last = book.on(year.last)
    if lawn.grass == "cool":
        yield Against(
            "late_nitrogen",
            f"Nitrogen after about {_day(last)}: soft growth late in the year invites snow mould.",
            "Ohio State and Nebraska turf articles; Oregon State",
        )
    else:
        yield Against(
            "late_nitrogen",
            f"Nitrogen after about {_day(last)}: warm-season grass should go into its rest hardened, not lush.",
            "common practice",
        )
    if lawn.grass == "cool" and lawn.irrigation == "none":
        yield Against(
            "summer_drought",
            "Feeding in a dry summer: without water the grass cannot use it, and quick nitrogen scorches. If the lawn "
            "has gone dull or brown, wait for rain and leave that feed out; do not double the next.",
            "Purdue Extension, dry-weather guidance",
        )
    if lawn.grass == "cool" and year.first is not None and not year.open[year.first : year.last + 1].all():
        yield Against(
            "summer_heat",
            "Nitrogen in the hottest weeks: on warm, wet nights it feeds brown patch rather than the grass.",
            "Virginia DCR; Oklahoma State 2020",
        )


def _day(when: date) -> str:
    """ "9 April"."""
    return f"{when.day} {when:%B}"


def _and(names: Sequence[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last
