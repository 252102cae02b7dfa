"""The adviser's letter says what was drafted, what was guessed, what is past, and what was left out and why."""

from datetime import date

import pytest

from config.models import Estate, Lawn, Product
from scheduler.messages.letter import letter
from scheduler.season.suggest import suggest
from scheduler.season.suggest_values import Suggestion, Wishes
from tests.scheduler.season.suggested import MILD, TODAY, combined, estate, lawn, leaf, product

ALL = (product(name="Quickfeed"), leaf(name="Leafgold"), combined(name="Threefold"))


def told(
    plot: Lawn | None = None,
    wishes: Wishes | None = None,
    products: tuple[Product, ...] = ALL,
    today: date = TODAY,
    **changes: object,
) -> tuple[str, Suggestion, Estate]:
    """The letter on one line, the draft and the estate."""
    plot = plot or lawn()
    whole = estate(plot, *products, **({"monthly_mean_c": MILD} | changes))  # type: ignore[arg-type]
    draft = suggest(whole, plot, wishes or Wishes(), today)
    return " ".join(letter(whole, draft).split()), draft, whole


def test_every_step_is_told_with_its_dates_rate_and_measure() -> None:
    text, draft, _ = told(wishes=Wishes(effort="weekly"))
    assert {stage.product.name for stage in draft.stages} == {"Quickfeed", "Leafgold"}
    assert "20 g/m²" in text
    assert "3.5 ml/m²" in text
    assert "350 ml made up to 6 l with water" in text  # 3.5 and 60 ml/m2 on 100 m2
    assert "2 kg for the whole lawn" in text  # 20 g/m2 on 100 m2


def test_the_year_adds_up_in_the_table() -> None:
    text, draft, _ = told()
    total = draft.total
    assert f"The year, g/m² {total.n:.1f} - {total.k2o:.1f} -" in text


def test_a_guessed_climate_is_owned_up_to() -> None:
    assert "guess" not in told()[0]
    text = told(monthly_mean_c=None)[0]
    assert "guess" in text
    assert "51.5° N" in text
    assert "33.0° S" in told(lawn(latitude=-33.0), monthly_mean_c=None)[0]


def test_what_is_past_of_the_season_is_not_made_up_for() -> None:
    text, draft, _ = told(today=date(2027, 6, 1))
    assert draft.year == 2027
    assert draft.already_past()
    ahead = [stage for stage in draft.stages if stage not in draft.already_past()]
    assert f"Begin with {ahead[0].product.name}" in text
    assert "is past" not in told(today=date(2027, 2, 1))[0]


def test_a_product_left_out_is_named_with_the_reason() -> None:
    strong = product(id="strong", name="Thunder", analysis="30-0-0")
    assert "I left out Thunder" in told(products=(strong,))[0]
    assert "I left out" not in told()[0]


def test_rules_are_named_with_their_authority_and_a_strip_by_the_water_with_its_width() -> None:
    near = lawn(latitude=42.7, water_within_m=3.0)
    text, _, _ = told(near, packs=("new-york",), products=(), units="us")
    assert "New York State Department of Environmental Conservation" in text
    assert "20 ft" in text
    assert "water_within_m = 6.096" in text


@pytest.mark.parametrize(
    ("wanted", "words"), [(40.0, "more than the published range"), (3.0, "less than the published")]
)
def test_a_figure_outside_the_published_range_is_remarked_on(wanted: float, words: str) -> None:
    assert words in told(wishes=Wishes(n_g_m2=wanted, effort="weekly"))[0]
    assert words not in told(wishes=Wishes(n_g_m2=12.0, effort="weekly"))[0]


def test_generic_sheets_are_said_to_be_no_real_products_and_come_with_the_letter() -> None:
    text, _, _ = told(products=())
    assert "No such products exist" in text
    assert "[[products]]" in text
    own, draft, _ = told()
    assert all(stage.own for stage in draft.stages) is ("[[products]]" not in own)


def test_children_and_pets_are_thought_of_where_there_are_any() -> None:
    assert "Children and pets" in told(lawn(children_or_pets=True))[0]
    assert "Children and pets" not in told(lawn(children_or_pets=False))[0]


def test_a_price_becomes_a_cost() -> None:
    priced = (product(name="Quickfeed", price_per_kg_or_l=5.0),)
    text, draft, _ = told(products=priced)
    cost = draft.cost()
    assert cost is not None
    assert f"about {cost[0]:.2f} a year" in text
    assert "costs about" not in told()[0]
