from zoneinfo import available_timezones

import pytest

from config.countries import country_of, nearest_zone


@pytest.mark.parametrize(
    ("zone", "country"),
    [("Europe/London", "GB"), ("America/Chicago", "US"), ("America/Toronto", "CA"), ("Europe/Oslo", "NO"),
     ("UTC", None), ("Etc/GMT+5", None), ("nowhere", None)],
)  # fmt: skip
def test_a_zone_tells_its_country(zone: str, country: str | None) -> None:
    # ISO 3166 codes as the IANA time zone database gives them (zone.tab)
    assert country_of(zone) == country


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [(51.5, -0.1, "Europe/London"), (41.9, -87.6, "America/Chicago"), (-33.9, 151.2, "Australia/Sydney"),
     (-36.9, 174.8, "Pacific/Auckland"), (64.1, -21.9, "Atlantic/Reykjavik"), (48.9, 2.4, "Europe/Paris")],
)  # fmt: skip
def test_the_nearest_zone_is_a_fair_first_guess(latitude: float, longitude: float, zone: str) -> None:
    assert nearest_zone(latitude, longitude) == zone


@pytest.mark.parametrize("place", [(90.0, 0.0), (-90.0, 180.0), (0.0, -180.0), (0.0, 180.0)])
def test_every_place_on_earth_gets_a_zone_that_exists(place: tuple[float, float]) -> None:
    assert nearest_zone(*place) in available_timezones()
