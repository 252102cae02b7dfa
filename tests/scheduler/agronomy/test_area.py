"""Areas from a tape measure."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from scheduler.agronomy import area

lengths = st.floats(0.1, 1000)


def test_rectangle_and_circle_of_the_sheet():
    # Clemson HGIC 1220: 50 x 25 ft is 1250 ft2; a circle of 30 ft radius is 2826 ft2 (with 3.14)
    assert area.rectangle(50, 25) == 1250
    assert area.circle(30) == approx(2826, rel=6e-4)


def test_offset_method():
    # Clemson HGIC 1220 (method): widths 15, 10, 15, 25, 20 ft every 10 ft -> 850 ft2
    assert area.offsets([15, 10, 15, 25, 20], 10) == 850


@given(length=lengths, width=lengths, strips=st.integers(1, 200))
def test_offsets_of_a_rectangle_are_its_area(length, width, strips):
    assert area.offsets([width] * strips, length / strips) == approx(area.rectangle(length, width))


@given(radius=lengths)
def test_offsets_of_a_circle_come_near_its_area(radius):
    # mid-ordinate strips; a known integral, error below 1 % at 40 strips
    spacing = 2 * radius / 40
    widths = [2 * math.sqrt(radius**2 - (radius - spacing * (i + 0.5)) ** 2) for i in range(40)]
    assert area.offsets(widths, spacing) == approx(area.circle(radius), rel=0.01)


@given(base=lengths, height=lengths)
def test_two_triangles_make_a_rectangle(base, height):
    assert 2 * area.triangle(base, height) == approx(area.rectangle(base, height))


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan"), float("inf")])
def test_no_length_no_area(wrong):
    for call in (
        lambda: area.rectangle(wrong, 1),
        lambda: area.rectangle(1, wrong),
        lambda: area.circle(wrong),
        lambda: area.triangle(1, wrong),
        lambda: area.offsets([1, 2], wrong),
    ):
        with pytest.raises(ValueError, match="above 0"):
            call()


@pytest.mark.parametrize("widths", [[], [0.0, 0.0], [1.0, -1.0], [float("nan")]])
def test_offsets_need_widths(widths):
    with pytest.raises(ValueError, match="width"):
        area.offsets(widths, 1)
