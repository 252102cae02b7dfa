"""Ten invented lawns lived through day by day on their drafted programmes: nothing is ever passed, whatever was done.

Each day every task whose window is open and that the lawn's own limits allow is done, as in the best of weather, or
with some chance, as in ours. A judge written apart (season_oracle) looks at every application.
"""

import random
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config.models import Estate, Product, Programme
from config.packs import pack_names
from scheduler.decide.lawn_limits import lawn_limits
from scheduler.morning import brief_for
from scheduler.season.due import tasks
from scheduler.season.suggest import suggest
from scheduler.season.suggest_values import Suggestion, Wishes
from scheduler.values import Entry
from tests.scheduler.season.season_oracle import Applied, breaches
from tests.scheduler.season.suggested import HOT, MILD, TODAY, combined, estate, lawn, leaf, product, taken_up

SOUTH = MILD[6:] + MILD[:6]
OWN = (product(), leaf(), combined())
PHOSPHATE = product(id="with-p", name="With phosphate", analysis="16-4-8", rate_g_m2=20.0)
WARM = {"grass": "warm", "latitude": 29.0, "soil": "sand"}
NEWLY_SOWN = lawn(sown_on=date(2027, 4, 10), **WARM)
CASES = {
    "a little every week": (lawn(), Wishes(effort="weekly", moss=True), (), OWN, MILD),
    "an outfield": (lawn(irrigation="none", soil="clay"), Wishes("sport", "monthly"), ("england",), OWN, MILD),
    "a round": (lawn(hard_edges=True), Wishes(effort="few", weeds="small", moss=True), (), (), MILD),
    "Maryland": (lawn(latitude=39.0, species="tall-fescue"), Wishes(weeds="small"), ("maryland",), OWN, HOT),
    "New Jersey": (lawn(latitude=40.0), Wishes("sport", "weekly"), ("new-jersey",), OWN, HOT),
    "New York": (lawn(latitude=42.7, water_within_m=2.0, soil_test_on=date(2026, 5, 2), soil_test_p="low"),
                 Wishes(), ("new-york",), (PHOSPHATE, leaf()), HOT),
    "Minnesota": (lawn(latitude=45.0), Wishes(effort="weekly"), ("minnesota",), (PHOSPHATE, leaf()), HOT),
    "Virginia": (lawn(latitude=37.5), Wishes(effort="weekly"), ("virginia",), OWN, HOT),
    "Marion": (lawn(species="centipedegrass", **WARM), Wishes(n_g_m2=20), ("florida-marion",), OWN, None),
    "Orange": (lawn(species="st-augustinegrass", **WARM), Wishes(effort="weekly"), ("florida-orange",), OWN, None),
    "Neptune Beach": (NEWLY_SOWN, Wishes(effort="few"), ("florida-neptune-beach",), (), None),
    "cool in the south": (lawn(latitude=-43.0), Wishes(effort="weekly", weeds="small", moss=True), (), OWN, SOUTH),
    "warm in the south": (lawn(latitude=-32.0, grass="warm", species="bermudagrass"), Wishes("sport"), (), OWN, None),
}  # fmt: skip


def drafted(name: str) -> tuple[Estate, Suggestion, tuple[str, ...]]:
    """A case once its owner has taken the draft up."""
    plot, wish, packs, own, climate = CASES[name]
    whole = estate(plot, *own, packs=packs, monthly_mean_c=climate)
    told = suggest(whole, plot, wish, TODAY)
    assert told.stages, name
    return taken_up(whole, told), told, packs


def entry(product_id: str, day: date, amount: float | None = None) -> Entry:
    return Entry("plot", product_id, datetime.combine(day, time(10), UTC), day, amount=amount)


def applied(whole: Estate, row: Entry) -> Applied:
    sheet = whole.product(row.product)
    rate = sheet.rate_ml_m2 or sheet.rate_g_m2 or 0.0
    return Applied(row.local_date, sheet, rate if row.amount is None else row.amount / whole.lawns[0].area_m2)


def live(
    whole: Estate,
    packs: Sequence[str],
    first: date,
    days: int,
    chance: float,
    luck: random.Random,
    by_hand: list[Entry],
) -> list[Entry]:
    """The ledger after so many days: entries by hand on their day, and what was due and allowed. Breaches fail."""
    plot = whole.lawns[0]
    ledger: list[Entry] = []
    done: list[Entry] = []
    for offset in range(days):
        today = first + timedelta(days=offset)
        ledger += [row for row in by_hand if row.local_date == today]
        for task in tasks(whole, plot, today, ledger):
            if task.due.earliest > today or luck.random() >= chance:
                continue
            if all(limit.ok is True for limit in lawn_limits(whole, task, today, ledger)):
                row = entry(task.product.id, today)
                found = breaches(packs, plot, applied(whole, row), [applied(whole, past) for past in ledger])
                assert found == []
                assert task.season.first <= today <= task.season.last
                ledger.append(row)
                done.append(row)
    return done


def test_every_pack_that_ships_is_lived_under() -> None:
    assert {name for _, _, packs, _, _ in CASES.values() for name in packs} == set(pack_names())


@pytest.mark.parametrize("name", CASES)
def test_two_years_in_the_best_of_weather_pass_nothing_and_give_what_was_drafted(name: str) -> None:
    whole, told, packs = drafted(name)
    first = date(told.year, 7 if told.southern else 1, 1)
    done = live(whole, packs, first, 730, 1.0, random.Random(1), [])
    for year in (0, 1):
        begin, end = first + timedelta(days=365 * year), first + timedelta(days=365 * (year + 1))
        rows = [applied(whole, row) for row in done if begin <= row.local_date < end]
        given_n = sum(one.grams("n") for one in rows)
        assert given_n == pytest.approx(told.total.n, rel=0.12), (name, year)
        assert given_n <= told.total.n * 1.0001


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("chance", [1.0, 0.2])
def test_a_careless_programme_of_everything_all_year_passes_nothing_either(name: str, chance: float) -> None:
    whole, told, packs = drafted(name)
    greedy = (*whole.products, PHOSPHATE, product(id="eager", every_days=(1, 2), most_per_year=9), combined(id="again"))
    products = tuple({sheet.id: sheet for sheet in greedy}.values())
    steps = tuple({"product": sheet.id, "from": "01-01", "to": "12-31"} for sheet in products)
    programme = Programme.model_validate({"id": "drafted", "steps": steps})
    whole = whole.model_copy(update={"products": products, "programmes": (programme,)})
    assert live(whole, packs, date(2027, 1, 1), 730, chance, random.Random(3), [])


@settings(deadline=None, max_examples=60, suppress_health_check=list(HealthCheck))
@given(
    name=st.sampled_from(sorted(CASES)),
    seed=st.integers(0, 10_000),
    chance=st.floats(0.05, 1.0),
    by_hand=st.lists(st.tuples(st.integers(0, 500), st.integers(0, 5), st.floats(0.2, 6.0)), max_size=6),
)
def test_random_histories_with_overdoses_by_hand_are_never_added_to(name, seed, chance, by_hand) -> None:
    whole, told, packs = drafted(name)
    first = date(told.year, 7 if told.southern else 1, 1)
    ids = [sheet.id for sheet in whole.products]
    rows = []
    for offset, number, times in by_hand:
        sheet = whole.product(ids[number % len(ids)])
        amount = (sheet.rate_ml_m2 or sheet.rate_g_m2 or 0.0) * times * whole.lawns[0].area_m2
        rows.append(entry(sheet.id, first + timedelta(days=offset), amount))
    live(whole, packs, first, 550, chance, random.Random(seed), rows)


# An overdose by hand of 10 g N/m2 and the cap it fills: 0.9 lb in 30 days (Virginia, from memory), 3.2 lb a year
# (N.J.S.A. 58:10A, from memory), 2 lb a year on centipede (Marion County 19-247).
CAPS = [("Virginia", 10.0, 0.9), ("New Jersey", 15.6, 3.2), ("Marion", 10.0, 2.0)]


@pytest.mark.parametrize(("name", "spilt", "lb"), CAPS)
def test_after_an_overdose_the_next_is_held_and_says_by_how_much(name: str, spilt: float, lb: float) -> None:
    whole, told, _ = drafted(name)
    spill = product(id="spill", name="Spill", analysis="10-0-0", rate_g_m2=20.0, every_days=None)
    whole = whole.model_copy(update={"products": (*whole.products, spill)})
    opens = date.fromisoformat(f"{told.year}-{told.stages[0].first}")
    ledger = [entry("spill", opens - timedelta(days=8), spilt * 10 * 100.0)]
    (line, *_) = brief_for(whole, None, datetime.combine(opens, time(6), UTC), {}, ledger).lines
    assert line.verdict == "hold"
    total, cap = spilt + told.stages[0].dose.n, lb * 4.88243
    broken = [x for x in line.limits if x.name == "nitrogen_cap" and x.ok is False and x.unit.startswith("g ")]
    said = [(x.value or 0.0, x.allowed[1] or 0.0) for x in broken]
    assert (pytest.approx(total, rel=1e-4), pytest.approx(cap, rel=1e-4)) in said
    assert any(f"{value - most:.2g} over" in line.text for value, most in said)


def test_the_judge_catches_what_it_is_there_for() -> None:
    plot = lawn(latitude=39.0)
    strong, slow = product(rate_g_m2=40.0), product(id="slow", slow_n_pct=40.0, most_per_year=1)

    def caught(packs: tuple[str, ...], sheet: Product, day: date, *before: Applied) -> int:
        return len(breaches(packs, plot, Applied(day, sheet, sheet.rate_g_m2 or 0.0), before))

    may = date(2027, 5, 1)
    assert caught(("maryland",), slow, may) == 0
    assert caught(("maryland",), slow, date(2027, 11, 15)) == 0  # Md. Code, Agriculture 8-803.5: none after the 15th
    assert caught(("maryland",), slow, date(2027, 11, 16)) == 1
    assert caught(("maryland",), strong, may) == 3  # 0.7 lb soluble, 0.9 lb in all, 20 % slow
    assert caught(("virginia",), slow, may, Applied(date(2027, 4, 2), product(), 20.0)) == 2
    assert caught(("virginia",), slow, may, Applied(date(2027, 4, 1), product(), 20.0)) == 0
    assert caught((), slow, may, Applied(date(2027, 3, 1), slow, 20.0)) == 1  # most_per_year
    assert caught((), slow, may, Applied(date(2026, 12, 1), slow, 20.0)) == 0
    assert caught((), product(), may, Applied(date(2027, 4, 4), product(), 20.0)) == 1  # 27 days, 28 wanted
