"""What the adviser goes by: every value with its source, and generic sheets that would load in any estate."""

import tomllib
from importlib.resources import files

import pytest

from config.advice import advice, coarse_climate
from config.sheets import generic_sheets
from scheduler.agronomy.nutrients import nutrients
from tests.builders import build_estate, to_toml

TABLE = tomllib.loads((files("config") / "reference" / "advice.toml").read_text("utf-8"))


@pytest.mark.parametrize("section", TABLE)
def test_every_value_has_a_source(section: str) -> None:
    for name, value in advice(section).items():
        assert len(value.source) > 8, name
        assert value.value is not None


def test_an_unknown_section_is_an_error() -> None:
    with pytest.raises(KeyError):
        advice("hearsay")


def test_the_coarse_climate_covers_the_globe_and_says_that_it_is_a_guess() -> None:
    climate = coarse_climate()
    assert "memory" in climate.source
    for zone in (climate.north, climate.south):
        assert zone.latitude[0] == 0
        assert zone.latitude[-1] == 90
        assert list(zone.latitude) == sorted(zone.latitude)
        assert len(zone.latitude) == len(zone.mean_c) == len(zone.swing_c)
        assert list(zone.mean_c) == sorted(zone.mean_c, reverse=True)


def test_there_is_a_generic_sheet_of_each_form_and_each_says_that_it_is_one() -> None:
    sheets = generic_sheets()
    assert {sheet.form for sheet in sheets} == {"liquid", "granular", "combined"}
    assert len({sheet.id for sheet in sheets}) == len(sheets)
    assert all(sheet.id.startswith("generic-") and "(generic)" in sheet.name for sheet in sheets)


def test_generic_doses_keep_the_strictest_caps_we_know_of() -> None:
    # 0.7 lb soluble and 0.9 lb total N at once, 20 % of it slow: Md. Code, Agriculture 6-224
    for sheet in generic_sheets():
        dose = nutrients(sheet)
        assert dose.soluble_n <= 0.7 * 4.88243
        assert dose.n <= 0.9 * 4.88243
        assert dose.n == 0 or dose.slow_n >= 0.2 * dose.n


def test_only_those_made_for_it_hold_phosphate() -> None:
    assert {s.id for s in generic_sheets() if nutrients(s).p2o5 > 0} == {"generic-starter", "generic-balanced"}


def test_the_generic_sheets_load_in_an_estate(tmp_path) -> None:
    tables = [sheet.model_dump(mode="json", exclude_unset=True) for sheet in generic_sheets()]
    steps = [{"product": table["id"], "from": "04-01", "to": "09-30"} for table in tables]
    estate = build_estate(tmp_path, products=tables, programmes=[{"id": "spoon", "steps": steps}])
    assert to_toml({"products": tables})
    assert {product.id: product for product in estate.products} == {sheet.id: sheet for sheet in generic_sheets()}
