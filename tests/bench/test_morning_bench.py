"""The benchmark on a small estate: its counts are right, and what it decides is what a judge of one lawn decides."""

import json
from collections import Counter
from dataclasses import fields
from pathlib import Path

import pytest

from adapters.daemon.compose import compose_for
from adapters.feeds.ensemble import combine
from adapters.feeds.registry import feed_named
from scheduler.morning import Desk, brief_for
from scheduler.values import CellWeather
from scheduler.weather.cells import cell_of
from tests.bench import invented, plain
from tests.bench.feed_bytes import served
from tests.bench.morning import main, run

LAWNS, CELLS = 60, 5
CENTRES = invented.cell_centres(CELLS)


def reference(members: int) -> dict[tuple[str, str], str]:
    estate, answers = invented.estate(LAWNS, CELLS, members), served(CENTRES, members)
    read = {place: plain.read(answers[place], invented.NOW) for place in CENTRES}
    weather = {lawn.id: read[CENTRES[i % CELLS]] for i, lawn in enumerate(estate.lawns)}
    return plain.verdicts(estate, invented.NOW, weather, invented.ledger(estate))


@pytest.mark.parametrize(("members", "requests"), [(31, 2), (0, 1)])
def test_the_verdicts_are_those_of_a_judge_of_one_lawn_at_a_time(tmp_path: Path, members: int, requests: int) -> None:
    figures, verdicts = run(LAWNS, CELLS, members, tmp_path)
    assert verdicts == reference(members)
    told = Counter(verdicts.values())
    assert min(told["go"], told["hold"]) > 10
    assert figures.verdicts == len(verdicts)
    assert (figures.lawns, figures.messages, figures.http_requests) == (LAWNS, 2, requests)  # a crew and a client
    assert figures.ratio == pytest.approx(figures.seconds / figures.floor_seconds)
    assert figures.peak_mb > 10


def cells(members: int) -> dict[str, CellWeather]:
    found = {}
    for place, answer in served(CENTRES, members).items():
        where = {"latitude": place[0], "longitude": place[1], "received": invented.NOW}
        forecast = feed_named("open-meteo").parse(answer.forecast, **where)  # type: ignore[arg-type]
        if members:
            ensemble = feed_named("open-meteo-ensemble").parse(answer.ensemble, **where)  # type: ignore[arg-type]
            forecast = combine(forecast, ensemble)
        found[cell_of(*place)] = CellWeather(cell_of(*place), forecast, "fresh")
    return found


@pytest.mark.parametrize("members", [31, 0])
@pytest.mark.parametrize(
    "rules",
    [{}, {"single_n_g_m2": 4.5, "year_n_g_m2": 6.2, "closed": (("05-08", "05-12"),), "water_min_m": 14.0}],
)
def test_a_lawn_among_many_is_told_what_it_would_be_told_alone(members: int, rules: dict[str, object]) -> None:
    plain_estate = invented.estate(LAWNS, CELLS, members)
    ruled = type(plain_estate.rules).model_validate(rules)
    estate = plain_estate.model_copy(update={"rules": ruled})
    weather, ledger = cells(members), invented.ledger(estate)
    together = brief_for(estate, None, invented.NOW, weather, ledger, Desk(estate, invented.NOW, weather))
    for lawn in estate.lawns:
        alone = estate.model_copy(update={"lawns": (lawn,)})
        lines = brief_for(alone, None, invented.NOW, weather, ledger).lines
        assert lines == tuple(line for line in together.lines if line.lawn == lawn.id)


def test_the_record_of_a_brief_holds_its_lines(tmp_path: Path) -> None:
    estate, weather = invented.estate(LAWNS, CELLS, 31), cells(31)
    crew = estate.people[0]
    ledger = invented.ledger(estate)
    kept, _ = compose_for(estate, invented.NOW, weather, ledger, trial=False)(crew, False, None)
    lines = brief_for(estate, crew, invented.NOW, weather, ledger).lines
    rows = json.loads(kept)
    assert [(row["lawn"], row["product"], row["text"]) for row in rows] == [(x.lawn, x.product, x.text) for x in lines]
    assert list(rows[0]) == [field.name for field in fields(lines[0])]
    assert rows[0]["window"]["start"].endswith("Z")


def test_the_command_answers_in_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--lawns", "12", "--cells", "3", "--members", "4", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert set(answer) == {
        "schema", "lawns", "seconds", "floor_seconds", "ratio", "peak_mb", "verdicts", "messages", "http_requests",
    }  # fmt: skip
    assert (answer["schema"], answer["lawns"]) == (1, 12)


@pytest.mark.parametrize("wrong", [["--members", "1"], ["--lawns", "0"], ["--cells", "-1"]])
def test_sizes_that_make_no_estate_are_refused(wrong: list[str]) -> None:
    with pytest.raises(SystemExit):
        main(wrong)
