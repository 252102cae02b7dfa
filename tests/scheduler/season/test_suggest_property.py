"""Whatever the lawn, products and local rules: nothing is drafted that a rule, a label or an interval forbids."""

import re
import tomllib
from datetime import date, timedelta

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from config.load import load_estate
from config.models import Species
from config.packs import pack_names
from config.reference_data import grass_species
from scheduler.messages.letter import letter
from scheduler.season.rules import rule_limits
from scheduler.season.suggest import suggest
from scheduler.season.suggest_toml import products_toml, programme_id, programme_toml
from scheduler.season.suggest_values import Suggestion, Wishes
from tests.builders import to_toml, write_estate
from tests.scheduler.season.season_oracle import Applied, breaches
from tests.scheduler.season.suggested import HOT, MILD, TODAY, combined, estate, lawn, leaf, product, taken_up

POOL = (
    product(),
    product(id="slow", name="Slow", analysis="22-5-10", slow_n_pct=60.0, rate_g_m2=30.0, every_days=(84, 112)),
    product(id="half", name="Half slow", analysis="20-0-20", slow_n_pct=50.0, rate_g_m2=15.0, most_per_year=2),
    product(id="strong", name="Strong", analysis="30-0-0", rate_g_m2=25.0, every_days=None),
    leaf(),
    leaf(id="rich", name="Rich", analysis="20-4-4", slow_n_pct=30.0, rate_ml_m2=5.0, most_per_year=6),
    combined(),
    product(id="iron", name="Iron", form="liquid", analysis="0-0-0", iron_pct=8.0, density_kg_l=1.2, rate_g_m2=None,
            rate_ml_m2=10.0, water_ml_m2=80.0, every_days=(14, 28)),
)  # fmt: skip
SPECIES: list[Species] = sorted(grass_species())

lawns = st.builds(
    lambda species, **rest: lawn(species=species, grass=grass_species()[species].type, **rest),
    species=st.sampled_from(SPECIES),
    latitude=st.floats(-50, 62),
    soil=st.sampled_from([None, "sand", "loam", "clay"]),
    irrigation=st.sampled_from(["none", "hose", "system"]),
    hard_edges=st.booleans(),
    sown_on=st.one_of(st.none(), st.dates(date(2026, 3, 1), date(2027, 9, 30))),
    water_within_m=st.sampled_from([None, None, 1.0, 6.0, 40.0]),
    soil_test_on=st.sampled_from([None, date(2020, 5, 1), date(2026, 5, 1)]),
    soil_test_p=st.sampled_from([None, "low", "high"]),
)
wishes = st.builds(
    Wishes,
    use=st.sampled_from(["ornamental", "family", "sport"]),
    effort=st.sampled_from(["few", "monthly", "weekly"]),
    moss=st.booleans(),
    weeds=st.sampled_from(["none", "small", "large"]),
    clippings=st.sampled_from(["returned", "removed"]),
    n_g_m2=st.one_of(st.none(), st.floats(0.5, 40)),
)
packs = st.lists(st.sampled_from(pack_names()), max_size=2, unique=True).map(tuple)
own_rules = st.fixed_dictionaries(
    {},
    optional={
        "single_n_g_m2": st.floats(0.3, 6),
        "single_soluble_n_g_m2": st.floats(0.3, 6),
        "year_n_g_m2": st.floats(1, 20),
        "year_p2o5_g_m2": st.floats(0, 4),
        "closed": st.just((("06-15", "08-31"),)),
        "user": st.just("professional"),
    },
)
climates = st.sampled_from([None, MILD, HOT])
products = st.lists(st.sampled_from(POOL), unique=True, max_size=len(POOL)).map(tuple)
SLOW = settings(deadline=None, max_examples=150, suppress_health_check=list(HealthCheck))


def day_of(told: Suggestion, text: str, season: int) -> date:
    text = "02-28" if text == "02-29" else text
    return date.fromisoformat(f"{season + (told.southern and text < '07-01')}-{text}")


@SLOW
@given(plot=lawns, wish=wishes, packs=packs, rules=own_rules, climate=climates, own=products)
def test_every_dose_keeps_every_rule_the_label_and_its_distance(plot, wish, packs, rules, climate, own):
    whole = estate(plot, *own, packs=packs, rules=rules, monthly_mean_c=climate)
    told = suggest(whole, plot, wish, TODAY)
    event(f"stages: {len(told.stages) > 0}, packs: {len(packs)}")
    mine = taken_up(whole, told)
    treated = mine.lawns[0]
    doses = [
        (season, s.product, text) for season in (told.year - 1, told.year) for s in told.stages for text in s.dates
    ]
    applied = [
        Applied(day_of(told, text, season), product, product.rate_ml_m2 or product.rate_g_m2 or 0.0)
        for season, product, text in doses
    ]
    applied.sort(key=lambda one: one.day)
    for number, one in enumerate(applied):
        if one.day >= date(told.year, 7 if told.southern else 1, 1):  # the season before only stands in the ledger
            # the judge knows the rules of ordinary users; a professional's are judged below
            bound = () if "user" in rules else packs
            assert breaches(bound, treated, one, applied[:number]) == []
    for stage in told.stages:
        first, last = (day_of(told, text, told.year) for text in (stage.first, stage.last))
        for day in (first, last):
            assert all(limit.ok for limit in rule_limits(mine, treated, stage.product, day, ()))
    cap = rules.get("year_n_g_m2")
    assert cap is None or told.total.n <= cap * (1 + 1e-9)
    if wish.n_g_m2 is not None:
        assert told.total.n <= wish.n_g_m2 * 1.05 + 1e-9


@SLOW
@given(plot=lawns, wish=wishes, packs=packs, climate=climates, own=products)
def test_windows_stand_in_order_and_apart(plot, wish, packs, climate, own):
    told = suggest(estate(plot, *own, packs=packs, monthly_mean_c=climate), plot, wish, TODAY)
    windows = [(day_of(told, s.first, told.year), day_of(told, s.last, told.year), s) for s in told.stages]
    for (_, end, one), (begin, _, other) in zip(windows, windows[1:], strict=False):
        assert begin > end
        feeds = [s for s in (one, other) if s.dose.n > 0 and s.product.form != "liquid"]
        if len(feeds) == 2:  # soluble granules at least 28 days apart: common practice
            assert begin - end > timedelta(days=28)
    for first, last, stage in windows:
        assert first <= last
        dates = [day_of(told, text, told.year) for text in stage.dates]
        assert dates
        assert first <= dates[0] <= dates[-1] <= last
        least = stage.every_days[0] if stage.every_days else 10_000
        assert all(b - a >= timedelta(days=min(least, 7)) for a, b in zip(dates, dates[1:], strict=False))


@settings(deadline=None, max_examples=60, suppress_health_check=list(HealthCheck))
@given(plot=lawns, wish=wishes, packs=packs, own=products, us=st.booleans())
def test_the_letter_fits_its_width_and_its_toml_loads(tmp_path_factory, plot, wish, packs, own, us):
    whole = estate(plot, *own, packs=packs, units="us" if us else "metric")
    told = suggest(whole, plot, wish, TODAY)
    text = letter(whole, told)
    assert all(len(line) <= 80 for line in text.splitlines())
    assert not re.search(r"\bnan\b|\binf\b|\bNone\b(?! (under|within))", text)
    row = {"id": "plot", "name": "Plot", "latitude": plot.latitude, "longitude": 9.5, "area_m2": 100}
    row |= {"programme": programme_id(whole, told)} if told.stages else {}
    folder = write_estate(tmp_path_factory.mktemp("estate"), products=None, programmes=None, lawns=[row])
    sheets = [p.model_dump(mode="json", exclude_unset=True, exclude_none=True) for p in own]
    mine = to_toml({"products": sheets}) + "\n" if sheets else ""
    (folder / "products.toml").write_text(mine + products_toml(told), "utf-8")
    (folder / "programmes.toml").write_text(programme_toml(whole, told), "utf-8")
    loaded = load_estate(folder, {})
    if not told.stages:
        assert loaded.programmes == ()
        return
    (programme,) = loaded.programmes
    assert [(s.product, s.from_, s.to, s.every_days) for s in programme.steps] == [
        (s.product.id, s.first, s.last, s.every_days) for s in told.stages
    ]
    assert programme.hemisphere == ("south" if told.southern else "north")
    for stage in told.stages:
        assert loaded.product(stage.product.id) == stage.product
    assert tomllib.loads(programme_toml(whole, told))["programmes"][0]["id"] in text
