"""The quick way of reading an answer must never take what the slow one refuses, nor read it otherwise."""

import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.feeds import reading
from scheduler.ports import FeedUnusable

TEXT = st.text(st.characters(codec="utf-8"), max_size=8) | st.sampled_from(['": ', "{", '"a":1', "[{"])
LEAF = (
    st.none() | st.booleans() | st.integers(-(10**9), 10**9) | st.floats(allow_nan=False, allow_infinity=False) | TEXT
)
VALUES = st.recursive(
    LEAF, lambda inner: st.lists(inner, max_size=5) | st.dictionaries(TEXT, inner, max_size=5), max_leaves=25
)
SPACE = st.sampled_from(["", " ", "\n\t ", "  "])


@given(VALUES, SPACE, SPACE)
def test_what_is_whole_is_read_as_it_stands(value: Any, before: str, after: str) -> None:
    text = json.dumps(value, separators=(f"{before},", f"{after}:{before}"))
    assert reading.decode(text.encode()) == value


@given(
    VALUES,
    VALUES,
    st.dictionaries(TEXT, VALUES, min_size=1, max_size=4),
    st.sampled_from(["{%s}", "[1,{%s}]", '{"x":[null,{%s}]}', '{"y":{"z" : {%s}}}']),
    SPACE,
)
def test_a_key_given_twice_is_found_wherever_it_stands(
    one: Any, other: Any, beside: dict[str, Any], around: str, space: str
) -> None:
    key = json.dumps(next(iter(beside)))
    inner = json.dumps(beside)[1:-1]
    raw = around % f"{inner},{space}{key}{space}:{json.dumps(one)},{json.dumps('w')}:{json.dumps(other)}"
    with pytest.raises(FeedUnusable, match="one key twice"):
        reading.decode(raw.encode())


NUMBER = st.none() | st.integers(-(10**6), 10**6) | st.floats(-1e4, 1e4)
ODD = st.sampled_from(["1.5", True, [1], {}, 10**400, -(10**400), math.inf, 1e300])


@given(st.lists(NUMBER, max_size=30))
def test_many_numbers_are_read_as_one_is(values: list[Any]) -> None:
    alone = [reading.number(value, "rain", -1e9, 1e9) for value in values]
    np.testing.assert_array_equal(reading.numbers(values, "rain", -1e9, 1e9), alone)


@given(st.lists(NUMBER, max_size=10), ODD, st.integers(0, 10))
def test_one_bad_number_among_many_is_refused(values: list[Any], odd: Any, at: int) -> None:
    values.insert(at, odd)
    with pytest.raises(FeedUnusable, match="rain is not a number|rain cannot be weather"):
        reading.numbers(values, "rain", -1e9, 1e9)


OBJECT = st.dictionaries(TEXT, VALUES, max_size=4)


@given(st.lists(OBJECT, max_size=6), SPACE, SPACE)
def test_a_list_of_objects_is_cut_where_they_end(objects: list[Any], before: str, after: str) -> None:
    parts = [json.dumps(one, separators=(f"{before},{after}", f"{before}:{after}")) for one in objects]
    raw = f"{before}[{after}{f'{after},{before}'.join(parts)}{before}]{after}"
    assert reading.objects_in(raw.encode()) == [part.encode() for part in parts]


@pytest.mark.parametrize(
    "raw",
    [
        "", "{}", "[", "]", "[{}", "{}]", "[{},]", "[,{}]", "[{}{}]", "[{},,{}]", "[{},1]", '["a",{}]', "[{}}]", "}{",
        '[{"a":1]', '[{"a}]', '[{"a\\"}]', "[{}]x", '"{}"', "[[{}]]", "null",
    ],
)  # fmt: skip
def test_what_is_no_list_of_objects_is_refused(raw: str) -> None:
    with pytest.raises(FeedUnusable, match="not a list"):
        reading.objects_in(raw.encode())


def test_a_text_without_an_end_costs_one_pass() -> None:
    with pytest.raises(FeedUnusable):
        reading.objects_in(b'[{"' + b'\\"' * 2_000_000)
