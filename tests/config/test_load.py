"""A good estate folder becomes an Estate."""

from pathlib import Path

from tests.builders import build_estate, lawn


def test_the_plain_estate_loads(tmp_path: Path) -> None:
    estate = build_estate(tmp_path)
    assert [x.id for x in estate.lawns] == ["front"]
    assert {x.form for x in estate.products} == {"liquid", "granular", "combined"}
    assert estate.lawns_of(estate.people[0]) == estate.lawns


def test_lawns_keep_the_order_of_the_file(tmp_path: Path) -> None:
    estate = build_estate(tmp_path, lawns=[lawn(id="b"), lawn(id="a")])
    assert [x.id for x in estate.lawns] == ["b", "a"]
