"""Cells: every lawn falls into exactly one, close lawns into the same, and a key gives its centre back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.weather.cells import STEP_DEG, cell_of, centre

latitudes = st.floats(-90, 90)
longitudes = st.floats(-180, 180)


def test_a_place_is_rounded_to_the_nearest_fiftieth_of_a_degree() -> None:
    assert cell_of(51.4823, -0.6171) == "51.48,-0.62"
    assert cell_of(-33.8695, 151.2093) == "-33.86,151.20"


def test_places_a_few_hundred_metres_apart_share_a_cell() -> None:
    assert cell_of(51.4823, -0.6171) == cell_of(51.4799, -0.6215)


@pytest.mark.parametrize(("latitude", "longitude"), [(-0.004, -0.004), (0.0, -0.0), (-0.0, 0.004)])
def test_the_zero_cell_has_one_name(latitude: float, longitude: float) -> None:
    assert cell_of(latitude, longitude) == "0.00,0.00"


@pytest.mark.parametrize("longitude", [180.0, -180.0, 179.995, -179.995])
def test_both_sides_of_the_date_line_are_one_cell(longitude: float) -> None:
    assert cell_of(10.0, longitude) == "10.00,-180.00"


@given(latitudes, longitudes)
def test_the_centre_lies_in_its_own_cell_and_within_half_a_step(latitude: float, longitude: float) -> None:
    cell = cell_of(latitude, longitude)
    north, east = centre(cell)
    assert cell_of(north, east) == cell
    assert abs(north - latitude) <= STEP_DEG / 2 + 1e-9
    apart = abs(east - longitude) % 360.0
    assert min(apart, 360.0 - apart) <= STEP_DEG / 2 + 1e-9
    assert -180.0 <= east < 180.0
    assert "-0.00" not in cell.split(",")


@given(latitudes, st.floats(-180, 179.9))
def test_a_full_turn_is_the_same_place(latitude: float, longitude: float) -> None:
    north, east = centre(cell_of(latitude, longitude))
    assert cell_of(north, east + 360.0) == cell_of(north, east)


@pytest.mark.parametrize("place", [(90.5, 0.0), (float("nan"), 0.0), (0.0, float("inf"))])
def test_no_place_on_earth_is_refused(place: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="not a place"):
        cell_of(*place)


@pytest.mark.parametrize("text", ["", "51.48", "51.48,-0.62,1", "51.48,-0.61", "51.480,-0.62", "a,b", "91.00,0.00"])
def test_a_text_that_is_no_key_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not a"):
        centre(text)
