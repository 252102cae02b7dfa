"""Addresses out of the settings, coordinates and the name on each request."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.feeds.asking import cut, endpoint, headers, user_agent
from config.models import Feed, Provider
from scheduler.ports import FeedUnavailable

KEYS = {"FEED_KEY": "k3y&more=#1", "WHOLE": "https://wx.example.org/v1/forecast?apikey=abc"}


def url_of(provider: Provider, given_url: str, **more: bool) -> str:
    return endpoint(provider, Feed(urls={provider: given_url}, **more), KEYS).url


@pytest.mark.parametrize(
    ("provider", "given_url", "asked"),
    [
        ("open-meteo", "https://wx.example.org", "https://wx.example.org/v1/forecast"),
        ("open-meteo", "https://wx.example.org/", "https://wx.example.org/v1/forecast"),
        ("open-meteo", "https://wx.example.org/v1", "https://wx.example.org/v1/forecast"),
        ("open-meteo", "https://wx.example.org/v1/", "https://wx.example.org/v1/forecast"),
        ("open-meteo", "https://wx.example.org/v1/forecast", "https://wx.example.org/v1/forecast"),
        ("open-meteo", "https://wx.example.org/proxy", "https://wx.example.org/proxy/v1/forecast"),
        ("open-meteo", "${WHOLE}", "https://wx.example.org/v1/forecast"),
        ("met-norway", "https://wx.example.org", "https://wx.example.org/weatherapi/locationforecast/2.0/complete"),
        ("met-norway", "https://wx.example.org/a/2.0", "https://wx.example.org/a/2.0/complete"),
        ("met-norway", "https://wx.example.org/a/compact", "https://wx.example.org/a/compact"),
        ("met-norway", "https://wx.example.org/a/complete", "https://wx.example.org/a/complete"),
    ],
)
def test_a_base_is_completed_and_a_whole_address_is_kept(provider: Provider, given_url: str, asked: str) -> None:
    assert url_of(provider, given_url) == asked


def test_a_key_is_filled_in_whole_and_kept_on_every_request() -> None:
    asked = endpoint("open-meteo", Feed(urls={"open-meteo": "https://wx.example.org/v1?apikey=${FEED_KEY}&x="}), KEYS)
    assert asked.params({"timezone": "GMT"}) == {"apikey": "k3y&more=#1", "x": "", "timezone": "GMT"}
    assert asked.host == "wx.example.org"


def test_what_we_pin_wins_over_the_settings() -> None:
    asked = endpoint("open-meteo", Feed(urls={"open-meteo": "https://wx.example.org?timezone=auto&models=x"}), KEYS)
    assert asked.params({"timezone": "GMT"}) == {"timezone": "GMT", "models": "x"}


@pytest.mark.parametrize(
    "given_url",
    [
        "ftp://wx.example.org",
        "wx.example.org",
        "https://",
        "https://[",
        "https://wx.example.org:0/",
        "https://a:b@c.example/",
    ],
)
def test_an_address_that_cannot_be_used_is_for_the_operator(given_url: str) -> None:
    with pytest.raises(FeedUnavailable, match="feed.urls.met-norway") as caught:
        url_of("met-norway", given_url)
    assert caught.value.operator
    assert given_url not in str(caught.value)


@pytest.mark.parametrize("given_url", ["https://x.example/?k=${NOT_SET}", "https://x.example/?k=${", "${NOT_SET}"])
def test_a_secret_that_is_not_there_is_for_the_operator(given_url: str) -> None:
    with pytest.raises(FeedUnavailable) as caught:
        url_of("open-meteo", given_url)
    assert caught.value.operator


@pytest.mark.parametrize(
    "host", ["api.open-meteo.com", "API.Open-Meteo.com.", "ensemble-api.open-meteo.com", "open-meteo.com"]
)
def test_the_free_host_needs_a_word_on_its_use(host: str) -> None:
    # open-meteo.com/en/terms: "You may only use the free API services for non-commercial purposes".
    with pytest.raises(FeedUnavailable, match="non-commercial") as caught:
        url_of("open-meteo", f"https://{host}/v1/forecast")
    assert caught.value.operator
    assert url_of("open-meteo", f"https://{host}/v1/forecast", non_commercial=True).endswith("/v1/forecast")
    with pytest.raises(FeedUnavailable, match="non-commercial"):
        endpoint("open-meteo", Feed(), {})


def test_the_paid_host_does_not() -> None:
    assert url_of("open-meteo", "https://customer-api.open-meteo.com").endswith("/v1/forecast")


@pytest.mark.parametrize(
    ("degrees", "text"),
    [(51.48239999, "51.4823"), (-0.61719999, "-0.6171"), (13.0, "13"), (13.41, "13.41"), (-0.00004, "0"), (1e-9, "0")],
)
def test_coordinates_are_cut_not_rounded(degrees: float, text: str) -> None:
    assert cut(degrees) == text


@given(st.floats(-180, 180))
def test_coordinates_have_at_most_four_decimals_and_no_exponent(degrees: float) -> None:
    text = cut(degrees)
    assert len(text.partition(".")[2]) <= 4
    assert "e" not in text.lower()
    assert 0 <= abs(degrees) - abs(float(text)) < 1e-4 + 1e-12


def test_the_name_on_a_request_says_who_and_where_to_write() -> None:
    # Terms of api.met.no: name, version and a contact in the User-Agent.
    assert user_agent("office@lawns.example").endswith("(+office@lawns.example)")
    assert user_agent("office@lawns.example").startswith("ligule/")
    assert "(" not in user_agent("")
    assert user_agent("a\r\nX-Evil: 1\u00e9").isprintable()
    assert headers("", {"If-None-Match": None, "Accept": "x"}) == {**headers("", {}), "Accept": "x"}
