"""What a record lacks: 7 CFR 110.3(a), Regulation (EC) 1107/2009 Art. 67(1) with (EU) 2023/564, and the full record."""

from dataclasses import fields, replace
from datetime import UTC, date, datetime
from typing import Any

import pytest

from config.models import Estate, Lawn, Product, ProductLabel, Rules
from scheduler.season.records import LAWS, missing_asked, missing_legal_fields, regimes_of
from scheduler.values import Entry

AT = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)
LAWN = Lawn(id="front", name="Front", latitude=41.9, longitude=-87.6, area_m2=120)
BY_WATER = LAWN.model_copy(update={"water_within_m": 6.0})
FEED = Product(id="leaf", name="Leaf", form="liquid", analysis="12-3-6", basis="w/v", rate_ml_m2=3.5, water_ml_m2=60)
GRAIN = Product(id="grain", name="Grain", form="granular", analysis="20-5-8", rate_g_m2=25)
THREE = Product(id="three", name="Three in One", form="combined", analysis="14-2-4", rate_g_m2=35)
REGISTERED = THREE.model_copy(update={"label": ProductLabel(registration="99999-1")})
HOME = Estate(name="Sedge Rise", timezone="America/Chicago")
FIRM = HOME.model_copy(update={"rules": Rules(user="professional")})
BARE = Entry("front", "three", AT, date(2026, 5, 4))
WHOLE = replace(
    BARE, amount=420.0, by="Ines", end=AT, area_m2=60.0, water_l=7.2, batch="417", licence="C-2291",
    equipment="knapsack", calibrated_on=date(2026, 3, 1), reason="moss", crop="turf", temperature_c=14.0,
    humidity_pct=70.0, wind_m_s=2.0, wind_from="SW", soil="moist", weather_by="measured",
    forecast_provider="met-norway", buffer_m=6.0, signs_posted=False, reentry_told=True,
)  # fmt: skip


def missing(entry: Entry, product: Product, regime: Any, *, lawn: Lawn = LAWN, estate: Estate = HOME) -> list[str]:
    return missing_legal_fields(entry, lawn, product, estate, regime)


def test_the_united_states_ask_for_number_amount_name_and_certificate() -> None:
    # 7 CFR 110.3(a)(1), (2), (5); date, place and size of area are in every row
    assert missing(BARE, THREE, "us") == ["registration", "amount", "by", "licence"]
    assert missing(WHOLE, REGISTERED, "us") == []
    assert missing(replace(WHOLE, licence=""), REGISTERED, "us") == ["licence"]


def test_europe_asks_for_number_dose_and_crop() -> None:
    # Regulation (EC) 1107/2009 Art. 67(1): name, time, dose, area, crop; (EU) 2023/564 adds number and crop code
    assert missing(BARE, THREE, "eu") == ["registration", "amount", "crop"]
    assert missing(WHOLE, REGISTERED, "eu") == []


@pytest.mark.parametrize("regime", ["us", "eu"])
@pytest.mark.parametrize("feed", [FEED, GRAIN])
def test_a_law_on_pesticides_asks_nothing_of_a_feed(regime: str, feed: Product) -> None:
    assert missing(BARE, feed, regime) == []


@pytest.mark.parametrize("feed", [FEED, GRAIN])
def test_a_registration_on_the_label_makes_a_liquid_or_a_grain_count(feed: Product) -> None:
    registered = feed.model_copy(update={"label": ProductLabel(registration="99999-1")})
    assert missing(BARE, registered, "us") == ["amount", "by", "licence"]


@pytest.mark.parametrize("regime", ["us", "eu", "fertiliser"])
def test_nothing_is_asked_of_what_was_not_done(regime: str) -> None:
    assert missing(replace(BARE, kind="skipped"), THREE, regime) == []
    assert missing(replace(BARE, undone_at=AT), THREE, regime) == []


def test_a_full_record_of_a_feed_lacks_nothing() -> None:
    for product in (FEED, GRAIN, REGISTERED):
        assert missing(WHOLE, product, "fertiliser", lawn=BY_WATER, estate=FIRM) == []


def test_a_full_record_asks_only_for_what_fits_the_case() -> None:
    at_home = missing(BARE, GRAIN, "fertiliser")
    assert "batch" in at_home
    assert not {"water_l", "buffer_m", "licence", "signs_posted", "reentry_told"} & set(at_home)
    assert "water_l" in missing(BARE, FEED, "fertiliser")
    assert "buffer_m" in missing(BARE, GRAIN, "fertiliser", lawn=BY_WATER)
    assert {"licence", "signs_posted", "reentry_told"} <= set(missing(BARE, GRAIN, "fertiliser", estate=FIRM))


def test_an_answer_of_no_or_nought_is_an_answer() -> None:
    answered = replace(WHOLE, signs_posted=False, wind_m_s=0.0, temperature_c=0.0, buffer_m=0.0)
    assert missing(answered, GRAIN, "fertiliser", lawn=BY_WATER, estate=FIRM) == []


@pytest.mark.parametrize("regime", list(LAWS))
def test_taking_any_asked_field_out_of_a_full_record_names_it_and_it_alone(regime: Any) -> None:
    of_entry = {field.name: field.default for field in fields(Entry)}
    for asked in LAWS[regime].asked:
        assert asked.source
        assert asked.words
        if asked.field not in of_entry:
            continue
        without = replace(WHOLE, **{asked.field: of_entry[asked.field]})
        found = missing_asked(without, BY_WATER, FEED if asked.field == "water_l" else REGISTERED, FIRM, regime)
        assert found == [asked]


@pytest.mark.parametrize(
    ("zone", "regimes"),
    [("America/Chicago", ("us", "fertiliser")), ("Europe/Paris", ("eu", "fertiliser")),
     ("Europe/London", ("eu", "fertiliser")), ("Europe/Zurich", ("fertiliser",)), ("UTC", ("fertiliser",))],
)  # fmt: skip
def test_the_lawns_own_zone_decides_whose_law_asks(zone: str, regimes: tuple[str, ...]) -> None:
    assert regimes_of(HOME, LAWN.model_copy(update={"timezone": zone})) == regimes
