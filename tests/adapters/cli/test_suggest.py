"""`ligule suggest` as its users meet it: a letter, JSON, and TOML that loads."""

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from adapters.cli.main import main
from config.load import load_estate
from tests.builders import combined, granular, lawn, liquid, write_estate

Run = Callable[..., Result]
NOW = ("--now", "2027-01-15T08:00Z")
MEANS = [4.5, 4.8, 6.9, 9.4, 12.4, 15.3, 17.4, 17.1, 14.6, 11.2, 7.6, 5.2]  # an invented mild place


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Runs `ligule` on an estate of three lawns with a product of each form."""
    lawns = [
        lawn(),
        lawn(id="outfield", name="Outfield", area_m2=5200, irrigation="none", hard_edges=False, children_or_pets=False),
        lawn(id="south", name="Southern lawn", latitude=-43.2, longitude=172.1, timezone="Pacific/Auckland"),
        lawn(id="warm", name="Warm lawn", latitude=-29.1, longitude=31.0, grass="warm", species="bermudagrass"),
    ]
    products = [liquid(most_per_year=None), granular(), combined(price_per_kg_or_l=2.5)]
    write_estate(tmp_path, lawns=lawns, products=products, monthly_mean_c=MEANS)

    def invoke(*words: str) -> Result:
        return CliRunner().invoke(main, ["--estate", str(tmp_path), *words], catch_exceptions=False)

    return invoke


def answer(run: Run, *words: str) -> dict[str, Any]:
    result = run("suggest", *words, *NOW, "--json")
    assert result.exit_code == 0, result.output
    told: dict[str, Any] = json.loads(result.output)
    return told


def test_the_answer_adds_up(run: Run) -> None:
    told = answer(run, "front", "--effort", "weekly")
    assert told["schema"] == 1
    assert (told["lawn"], told["season"], told["hemisphere"]) == ("front", 2027, "north")
    for name in ("n_g_m2", "p2o5_g_m2", "k2o_g_m2", "fe_g_m2"):
        assert told["total"][name] == pytest.approx(sum(step["total"][name] for step in told["steps"]), abs=1e-3)
        for step in told["steps"]:
            assert step["total"][name] == pytest.approx(step["each"][name] * step["times"], abs=1e-3)
    assert sum(told["n_by_month_g_m2"]) == pytest.approx(told["total"]["n_g_m2"], abs=1e-3)
    assert sum(told["n_by_growth_g_m2"]) == pytest.approx(told["target"]["n_g_m2"], abs=1e-2)
    # 12 % w/w, 1.18 kg/l, 3.5 ml/m2: 0.4956 g N/m2
    (each,) = {step["each"]["n_g_m2"] for step in told["steps"] if step["product"] == "leaf-feed"}
    assert each == pytest.approx(0.4956, abs=1e-4)
    assert all(step["reason"].endswith(".") for step in told["steps"])


def test_amounts_are_for_the_whole_lawn_and_costs_from_the_sheets_prices(run: Run) -> None:
    told = answer(run, "outfield", "--effort", "few", "--weeds", "small")
    (weeds,) = [step for step in told["steps"] if step["role"] == "weeds"]
    assert weeds["product_g"] == pytest.approx(35 * 5200)
    assert weeds["cost"] == pytest.approx(35 * 5.2 * 2.5)
    assert told["cost"]["sum"] == pytest.approx(weeds["cost"])
    assert "three-in-one" not in told["cost"]["without"]


def test_the_climate_of_the_estate_is_used_on_its_side_of_the_equator(run: Run) -> None:
    told = answer(run, "front")["climate"]
    assert told["monthly_mean_c"] == MEANS
    assert told["assumed"] is False
    southern = answer(run, "south")["climate"]
    assert southern["assumed"] is True
    assert southern["monthly_mean_c"][0] > southern["monthly_mean_c"][6]


@pytest.mark.parametrize("effort", ["few", "monthly", "weekly"])
@pytest.mark.parametrize("plot", ["front", "south"])
def test_what_is_written_loads_and_is_planned_as_drafted(run: Run, tmp_path: Path, effort: str, plot: str) -> None:
    asked = (plot, "--effort", effort, "--moss")
    told = answer(run, *asked)
    result = run("suggest", *asked, "--write", str(tmp_path / "draft.toml"), *NOW)
    assert result.exit_code == 0, result.output
    drafted = (tmp_path / "draft.toml").read_text("utf-8")
    sheets = (tmp_path / "draft.products.toml").read_text("utf-8")  # no iron of its own: a generic sheet
    for name, more in (("programmes.toml", drafted), ("products.toml", sheets)):
        with (tmp_path / name).open("a", encoding="utf-8") as file:
            file.write("\n" + more)
    rows = (tmp_path / "lawns.csv").read_text("utf-8")
    (tmp_path / "lawns.csv").write_text(rows.replace("spoon", f"plan-{plot}"), "utf-8")
    estate = load_estate(tmp_path, {})
    programme = estate.programme(f"plan-{plot}")
    assert programme.hemisphere == ("south" if plot == "south" else "north")
    plan = json.loads(run("plan", plot, "--year", "2028", *NOW, "--json").output)["plans"][0]
    wanted = sum(step["times"] for step in told["steps"])
    # the plan takes the target days, a third into each window, so that it holds no more than the draft allows
    assert wanted * 0.6 <= len(plan["applications"]) <= wanted
    assert {item["product"] for item in plan["applications"]} == {step["product"] for step in told["steps"]}


def test_a_file_that_is_there_is_never_touched(run: Run, tmp_path: Path) -> None:
    for name in ("programmes.toml", "draft.products.toml"):
        path = tmp_path / name
        path.touch()
        before = path.read_bytes()
        target = tmp_path / name.replace(".products", "")
        result = run("suggest", "front", "--moss", "--write", str(target), *NOW)
        assert result.exit_code == 2
        assert str(path) in result.output
        assert path.read_bytes() == before
    assert not (tmp_path / "draft.toml").exists()
    assert run("suggest", "front", "--write", str(tmp_path / "nowhere" / "x.toml"), *NOW).exit_code == 2


def test_the_letter_ends_with_its_toml(run: Run) -> None:
    text = run("suggest", "front", "--effort", "weekly", *NOW).output
    assert max(len(line) for line in text.splitlines()) <= 80
    told = answer(run, "front", "--effort", "weekly")
    assert text.endswith(told["programmes_toml"])
    assert tomllib.loads(told["programmes_toml"])["programmes"][0]["id"] == told["programme"] == "plan-front"
    for step in told["steps"]:
        assert step["name"] in text


def test_us_readers_get_their_units(tmp_path: Path) -> None:
    write_estate(tmp_path, units="us", lawns=[lawn()])
    text = CliRunner().invoke(main, ["--estate", str(tmp_path), "suggest", "front", *NOW]).output
    letter = text.partition("[[")[0]
    assert "lb/1000 ft²" in letter
    assert "g/m²" not in letter


@pytest.mark.parametrize(
    ("words", "about"),
    [(("front", "--moss"), "iron_by_paving"), (("front", "--weeds", "large"), "large_weeds"),
     (("outfield",), "summer_drought"), (("front",), "phosphate"), (("front",), "late_nitrogen"),
     (("warm", "--weeds", "small"), "weeds_on_warm_grass")],
)  # fmt: skip
def test_what_it_advises_against_is_told_in_both_answers(run: Run, words: tuple[str, ...], about: str) -> None:
    found = {item["about"]: item["advice"] for item in answer(run, *words)["against"]}
    assert about in found
    flat = " ".join(run("suggest", *words, *NOW).output.split())
    assert found[about] in flat


@pytest.mark.parametrize(
    "words",
    [("nowhere",), ("front", "--use", "golf"), ("front", "--n-g-m2", "0"), ("front", "--n-g-m2", "much"),
     ("front", "--effort", "daily"), ("front", "--year", "20"), ("front", "--now", "2027-01-15T08:00")],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_what_is_allowed(run: Run, words: tuple[str, ...]) -> None:
    result = run("suggest", *words)
    assert result.exit_code == 2
    assert result.output.strip()


def test_a_place_too_cold_is_told_without_a_programme(tmp_path: Path) -> None:
    write_estate(tmp_path, lawns=[lawn(grass="warm")], monthly_mean_c=MEANS)

    def invoke(*words: str) -> Result:
        return CliRunner().invoke(main, ["--estate", str(tmp_path), "suggest", "front", *words, *NOW])

    told = json.loads(invoke("--json").output)
    assert told["steps"] == []
    assert told["no_season"] in " ".join(invoke().output.split())
    assert told["programme"] is None
    assert "[[" not in invoke().output
    assert invoke("--write", str(tmp_path / "x.toml")).exit_code == 2
    assert not (tmp_path / "x.toml").exists()
