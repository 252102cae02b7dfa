"""A good estate folder becomes an Estate."""

from datetime import date, time
from pathlib import Path
from typing import Any

import pytest

from config.load import load_estate
from tests.builders import build_estate, granular, lawn, liquid, person, programme, to_toml, write_estate


def test_the_plain_estate_loads(tmp_path: Path) -> None:
    estate = build_estate(tmp_path)
    assert [x.id for x in estate.lawns] == ["front"]
    assert {x.form for x in estate.products} == {"liquid", "granular", "combined"}
    assert [step.product for step in estate.programme("spoon").steps] == ["spring-grain", "leaf-feed", "three-in-one"]
    assert estate.programme("spoon").steps[1].every_days == (7, 10)
    assert estate.lawns_of(estate.people[0]) == estate.lawns
    assert estate.product("leaf-feed").weather.dry_for_h == 6


def test_lawns_keep_the_order_of_the_file(tmp_path: Path) -> None:
    estate = build_estate(tmp_path, lawns=[lawn(id="b"), lawn(id="a")])
    assert [x.id for x in estate.lawns] == ["b", "a"]


def test_lawns_may_stand_in_the_estate_file_beside_those_of_the_sheet(tmp_path: Path) -> None:
    inline = {"id": "top", "name": "Top", "latitude": 51.5, "longitude": -1, "area_m2": 40, "sown_on": date(2026, 4, 1)}
    both = build_estate(tmp_path / "both", lawns=[lawn()])
    write_estate(tmp_path / "both")
    path = tmp_path / "both" / "estate.toml"
    path.write_text(path.read_text("utf-8") + to_toml({"lawns": [inline]}), "utf-8")
    both = load_estate(tmp_path / "both", {})
    assert {x.id for x in both.lawns} == {"top", "front"}
    assert both.lawn("top").sown_on == date(2026, 4, 1)
    (tmp_path / "both" / "lawns.csv").unlink()
    assert [x.id for x in load_estate(tmp_path / "both", {}).lawns] == ["top"]


def test_products_and_programmes_may_be_absent_while_nothing_refers_to_them(tmp_path: Path) -> None:
    estate = build_estate(tmp_path, lawns=[lawn(programme=None)], products=None, programmes=None)
    assert estate.products == estate.programmes == ()


@pytest.mark.parametrize("mark", ["\ufeff", ""])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_files_written_on_another_system_load(mark: str, newline: str, tmp_path: Path) -> None:
    estate = build_estate(tmp_path)
    for path in tmp_path.iterdir():
        path.write_bytes((mark + path.read_text("utf-8").replace("\n", newline)).encode())
    assert load_estate(tmp_path, {}) == estate


@pytest.mark.parametrize("written", ['"06:30"', "06:30:00"])
def test_times_may_be_text_or_times_of_toml(written: str, tmp_path: Path) -> None:
    write_estate(tmp_path, people=[])
    path = tmp_path / "estate.toml"
    text = f'\n[[people]]\nid = "a"\nname = "A"\nlawns = ["*"]\nbrief_at = {written}\nquiet = [{written}, "05:00"]\n'
    path.write_text(path.read_text("utf-8").replace("people = []\n", "") + text, "utf-8")
    (someone,) = load_estate(tmp_path, {}).people
    assert (someone.brief_at, someone.quiet) == (time(6, 30), (time(6, 30), time(5)))


@pytest.mark.parametrize(
    ("overrides", "expected"),
    [
        ({"role": "keeper", "brief_at": None}, time(6)),
        ({"role": "crew", "brief_at": "05:15"}, time(5, 15)),
        ({"role": "office", "brief_at": None, "reach": []}, None),
        ({"role": "client", "brief_at": None}, None),
        ({"role": "client", "brief_at": "18:00"}, time(18)),
    ],
)
def test_a_brief_comes_at_six_to_whoever_can_be_reached_but_clients(
    overrides: dict[str, Any], expected: time | None, tmp_path: Path
) -> None:
    assert build_estate(tmp_path, people=[person(**overrides)]).people[0].brief_at == expected


def test_secrets_stay_names(tmp_path: Path) -> None:
    urls = {"open-meteo": "https://example.org/v1?key=${KEY}", "nws": "${NWS_URL}"}
    write_estate(tmp_path, feed={"order": ["bright-sky"], "urls": urls}, people=[person(reach=["json://${A}:${B}@h"])])
    estate = load_estate(tmp_path, {"KEY": "k", "NWS_URL": "https://example.org", "A": "a", "B": "b"})
    assert estate.feed.urls == urls
    assert estate.people[0].reach == ("json://${A}:${B}@h",)


@pytest.mark.parametrize(
    "feed",
    [
        {"order": ["open-meteo"], "non_commercial": True},
        {"order": ["open-meteo"], "urls": {"open-meteo": "https://forecast.example.org"}},
        {"order": ["open-meteo"], "urls": {"open-meteo": "https://customer-api.open-meteo.com/v1?apikey=${KEY}"}},
        {"order": ["bright-sky"]},
        {"order": ["nws"], "contact": "https://example.org/contact"},
    ],
)
def test_feeds_are_taken_on_their_terms(feed: dict[str, Any], tmp_path: Path) -> None:
    assert list(build_estate(tmp_path, feed=feed).feed.order) == feed["order"]


@pytest.mark.parametrize(
    "product",
    [
        liquid(density_kg_l=None, basis="w/v"),
        liquid(density_kg_l=None, analysis="0-0-0", iron_pct=0),
        liquid(water_ml_m2=3.5),
        liquid(analysis="40.5-30-29.5"),
        liquid(weather={"wind_m_s": [0, 0], "temperature_c": [-5, -5]}),
        granular(every_days=[30, 30], most_per_year=366),
        granular(every_days=[1, 3660], name="x" * 80, label={"mow_gap_days": [3660, 0], "sowing_gap_days": 3660}),
        granular(label={"keep_off": 12, "mow_gap_days": [0, 0]}),
    ],
)
def test_products_at_the_edge_of_the_rules_load(product: dict[str, Any], tmp_path: Path) -> None:
    step = {"product": product["id"], "from": "02-29", "to": "12-31"}
    estate = build_estate(tmp_path, products=[product], programmes=[programme(steps=[step])])
    assert estate.product(product["id"]).form == product["form"]


def test_names_come_in_one_form_and_match_in_it(tmp_path: Path) -> None:
    """Unicode UAX 15: e with a combining acute accent and the single letter are the same name."""
    estate = build_estate(
        tmp_path, name=" Pre\u0301 ", lawns=[lawn(round="Pre\u0301")], people=[person(lawns=None, rounds=["Pr\u00e9"])]
    )
    assert estate.name == "Pr\u00e9"
    assert estate.lawns_of(estate.people[0]) == estate.lawns


def test_notes_may_run_over_lines_and_write_in_any_direction(tmp_path: Path) -> None:
    estate = build_estate(tmp_path, lawns=[lawn(notes="key\tunder the mat\n\u200f\u05d3\u05e9\u05d0")])
    assert "\n" in estate.lawns[0].notes


def test_places_far_apart_are_no_swap(tmp_path: Path) -> None:
    places = [(51.5, -0.6), (-33.9, 151.2), (40.7, -74.0), (89.9, 179.9), (-1.3, 36.8)]
    rows = [lawn(id=f"l{n}", latitude=lat, longitude=lon) for n, (lat, lon) in enumerate(places)]
    assert len(build_estate(tmp_path, lawns=rows).lawns) == len(places)


def test_lawns_on_both_sides_of_the_date_line_are_neighbours(tmp_path: Path) -> None:
    rows = [lawn(id="a", latitude=-17, longitude=179.5), lawn(id="b", latitude=-17, longitude=-179.5)]
    assert len(build_estate(tmp_path, lawns=rows).lawns) == 2


def test_the_kind_of_grass_follows_from_the_species(tmp_path: Path) -> None:
    assert build_estate(tmp_path, lawns=[lawn(grass=None, species="bermudagrass")]).lawns[0].grass == "warm"
    assert build_estate(tmp_path, lawns=[lawn(grass=None, species="fine-fescue")]).lawns[0].grass == "cool"


def test_shipped_packs_are_known(tmp_path: Path) -> None:
    assert build_estate(tmp_path, rules={"packs": ["maryland", "new-york"]}).rules.packs == ("maryland", "new-york")
