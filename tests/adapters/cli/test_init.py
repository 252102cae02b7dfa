"""`ligule init`: by answers and by options, and what comes out is an estate that `ligule check` accepts."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from adapters.cli.init_files import SEASONS, Answers, files
from adapters.cli.init_parse import FORMS, Sheet, sheet_in
from adapters.cli.main import main
from config.load import load_estate
from config.models import Estate

LEAF = "Leaf Feed; liquid; 12-3-6; 3.5 ml/m2; spray 60 ml/m2; 1.18 kg/l; 0.5 % Fe; 7-14 days"
OPTIONS = (
    "--person",
    "Wren",
    "--mail",
    "wren@example.org",
    "--place",
    "51.48,-0.62",
    "--area",
    "120",
    "--product",
    LEAF,
)
ANSWERS = [
    "Wren", "wren@example.org", "51.48, -0.62", "", "", "", "Back lawn", "120 m2", "", "hose",
    "liquid", "Leaf Feed", "12-3-6", "3.5 ml/m2", "60 ml/m2", "1.18 kg/l", "0.5", "7-14",
    "granular", "Grain", "20-5-8", "25 g/m2", "0", "",
    "",
]  # fmt: skip


def init(folder: Path, *words: str, answers: list[str] | None = None) -> Result:
    typed = None if answers is None else "".join(f"{answer}\n" for answer in answers)
    return CliRunner().invoke(main, ["init", str(folder), *words], input=typed, catch_exceptions=False)


def made(folder: Path) -> Estate:
    checked = CliRunner().invoke(main, ["--estate", str(folder), "check"], catch_exceptions=False)
    assert checked.exit_code == 0, checked.output
    return load_estate(folder, {})


def test_a_newcomer_answers_and_gets_an_estate(tmp_path: Path) -> None:
    result = init(tmp_path / "mine", answers=ANSWERS)
    assert result.exit_code == 0, result.output
    estate = made(tmp_path / "mine")
    (lawn,), (leaf, grain) = estate.lawns, estate.products
    assert (lawn.name, lawn.area_m2, lawn.latitude, lawn.irrigation) == ("Back lawn", 120.0, 51.48, "hose")
    assert (estate.timezone, estate.units, lawn.grass) == ("Europe/London", "metric", "cool")
    assert (leaf.form, leaf.analysis, leaf.basis, leaf.density_kg_l) == ("liquid", "12-3-6", "w/w", 1.18)
    assert (leaf.rate_ml_m2, leaf.water_ml_m2, leaf.iron_pct, leaf.every_days) == (3.5, 60.0, 0.5, (7, 14))
    assert (grain.form, grain.rate_g_m2, grain.iron_pct) == ("granular", 25.0, 0.0)
    assert {step.product for step in estate.programme(lawn.programme or "").steps} == {leaf.id, grain.id}
    assert estate.people[0].reach == ("${WREN_MAIL}",)
    assert estate.feed.contact == "wren@example.org"


def test_what_is_said_at_the_end_fits_the_terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    result = init(Path("my lawns"), *OPTIONS)
    assert max(map(len, result.output.splitlines()[-8:])) <= 80
    assert "--estate 'my lawns' check" in result.output


def test_a_wrong_answer_is_asked_again(tmp_path: Path) -> None:
    answers = list(ANSWERS)
    answers[1:2] = ["wren", "mailto://a:b@c", "wren@example.org"]
    answers[4:5] = ["510, 0", "51.48 -0.62"]
    result = init(tmp_path / "mine", answers=answers)
    assert result.exit_code == 0, result.output
    assert made(tmp_path / "mine").feed.contact == "wren@example.org"


def test_options_answer_for_a_newcomer_who_is_not_there(tmp_path: Path) -> None:
    result = init(tmp_path / "mine", *OPTIONS, "--product", "Grain; granular; 20-5-8; 25 g/m2")
    assert result.exit_code == 0, result.output
    estate = made(tmp_path / "mine")
    assert [product.id for product in estate.products] == ["leaf-feed", "grain"]
    assert (estate.timezone, estate.name) == ("Europe/London", "Home")


def test_options_and_answers_go_together(tmp_path: Path) -> None:
    result = init(tmp_path / "mine", *OPTIONS, answers=["", "", "My place", "Side", "cool", "none"])
    assert result.exit_code == 0, result.output
    assert made(tmp_path / "mine").name == "My place"


def test_without_anybody_what_is_missing_is_named_and_nothing_is_written(tmp_path: Path) -> None:
    result = init(tmp_path / "mine", "--person", "Wren", answers=[])
    assert result.exit_code == 2
    for option in ("--mail", "--place", "--area", "--product"):
        assert option in result.stderr
    assert "--person" not in result.stderr
    assert not (tmp_path / "mine").exists()


@pytest.mark.parametrize(
    ("option", "value"),
    [("--place", "91, 0"), ("--place", "London"), ("--timezone", "London"), ("--units", "imperial"), ("--area", "0"),
     ("--area", "-5 m2"), ("--area", "12 acres"), ("--grass", "hot"), ("--irrigation", "rain"), ("--mail", "wren"),
     ("--mail", "mailtos://a:b@example.org"), ("--person", ""), ("--name", "a\nb\x1b"), ("--product", "Leaf Feed"),
     ("--product", "Leaf; liquid; 12-3-6; 3.5 ml/m2"), ("--product", "Leaf; liquid; 12-3-6; 3.5 g/m2; spray 60 ml/m2"),
     ("--product", "Leaf; granular; 50-50-50; 3 g/m2"), ("--product", "Leaf; liquid; 1-1-1; 9 ml/m2; spray 5 ml/m2"),
     ("--product", "Leaf; granular; 5-5-5; 3 g/m2; 40-20 days")],
)  # fmt: skip
def test_a_wrong_option_is_refused_and_nothing_is_written(tmp_path: Path, option: str, value: str) -> None:
    result = init(tmp_path / "mine", *OPTIONS, option, value)
    assert result.exit_code == 2
    assert "Traceback" not in result.output
    assert not (tmp_path / "mine").exists()


@pytest.mark.parametrize("file", ["estate.toml", "lawns.csv", "products.toml", "programmes.toml"])
def test_nothing_is_ever_overwritten(tmp_path: Path, file: str) -> None:
    (tmp_path / file).write_text("mine", "utf-8")
    result = init(tmp_path, *OPTIONS)
    assert result.exit_code == 2
    assert [path.name for path in tmp_path.iterdir()] == [file]
    assert (tmp_path / file).read_text("utf-8") == "mine"


def test_a_folder_that_cannot_be_made_is_a_clear_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", "utf-8")
    result = init(tmp_path / "file" / "mine", *OPTIONS)
    assert result.exit_code == 2
    assert "Traceback" not in result.output


def test_rates_in_other_units_become_si() -> None:
    # 1 lb/1000 ft2 is 4.8824 g/m2, 1 lb/gal 0.11983 kg/l (NIST SP 811)
    assert sheet_in("A; granular; 20-0-0; 5 lb/1000 ft2").rate == approx(24.412, abs=1e-3)
    leaf = sheet_in("A; liquid; 12-0-0; 3 fl oz/1000 ft2; spray 1 gal/1000 ft2; 10 lb/gal; 28 to 42 days")
    assert leaf.rate == approx(0.95498, abs=1e-4)
    assert leaf.density_kg_l == approx(1.19826, abs=1e-4)
    assert leaf.days == (28, 42)


def test_the_season_turns_with_the_hemisphere(tmp_path: Path) -> None:
    init(tmp_path / "mine", *OPTIONS, "--place", "-36.85,174.76")
    estate = made(tmp_path / "mine")
    assert estate.timezone == "Pacific/Auckland"
    (step,) = estate.programmes[0].steps
    assert estate.programmes[0].hemisphere == "south"
    assert (step.from_, step.to) == ("10-01", "03-30")


def test_an_american_reads_feet_and_pounds(tmp_path: Path) -> None:
    init(tmp_path / "mine", *OPTIONS, "--place", "41.9,-87.6")
    estate = made(tmp_path / "mine")
    assert (estate.units, estate.timezone) == ("us", "America/Chicago")
    assert estate.lawns[0].area_m2 == approx(120 * 0.3048**2, abs=0.01)


names = st.lists(
    st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=9), min_size=1, max_size=7
).map(" ".join)
sheets = st.builds(
    Sheet, names, st.sampled_from(FORMS), st.sampled_from(["12-3-6", "0-0-0.5", "20-0-10"]), st.floats(0.1, 90),
    st.floats(100, 500), st.none() | st.floats(0.6, 2.9), st.sampled_from([0.0, 0.5, 20.0]),
    st.none() | st.just((7, 14)),
)  # fmt: skip


latitudes = st.floats(1, 90) | st.floats(-90, -1)
answered = st.builds(
    Answers, estate=names, person=names, mail=st.just("wren@example.org"),
    place=st.tuples(latitudes, st.floats(-180, 180)), timezone=st.just("UTC"), units=st.just("metric"), lawn=names,
    area_m2=st.floats(0.1, 1e6), grass=st.sampled_from(list(SEASONS)), irrigation=st.just("none"),
    products=st.lists(sheets, min_size=1, max_size=4).map(tuple),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(answers=answered)
def test_whatever_is_answered_loads(tmp_path_factory: pytest.TempPathFactory, answers: Answers) -> None:
    folder = tmp_path_factory.mktemp("estate")
    for file, text in files(answers).items():
        (folder / file).write_text(text, encoding="utf-8", newline="\n")
    estate = load_estate(folder, {})
    assert (estate.lawns[0].area_m2, estate.lawns[0].latitude) == (answers.area_m2, answers.place[0])
    assert [product.rate_ml_m2 or product.rate_g_m2 for product in estate.products] == [
        x.rate for x in answers.products
    ]
