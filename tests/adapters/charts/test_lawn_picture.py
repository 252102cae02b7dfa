"""The picture of a lawn's coming days: what stands in it, that it fits, and that nothing depends on colour alone."""

import io
import sys
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from adapters.charts import ChartsMissing, ink, lawn_figure, picture
from adapters.charts.panels import chance_of_rain
from adapters.charts.words import HELD_BY, brief_hours, day_words
from scheduler.decide.verdict import PRIORITY
from scheduler.morning import Desk
from scheduler.outlook import DayMark, Outlook, outlook
from scheduler.values import CellWeather
from scheduler.weather.cells import cell_of
from scheduler.weather.forecast import Forecast
from tests.builders import build_estate, lawn, liquid, person, programme
from tests.weather import mild

MIDNIGHT = datetime(2026, 5, 3, 23, tzinfo=UTC)  # Mon 4 May begins in London
MORNING = MIDNIGHT + timedelta(hours=6)
HOURS = 24 * 7


def told(folder: Path, forecast: Forecast | None, *, state: str = "fresh", days: int = 5, **estate: Any) -> Outlook:
    """A lawn with a liquid due today."""
    steps = [{"product": "leaf-feed", "from": "01-01", "to": "12-31"}]
    made = build_estate(
        folder,
        **{
            "lawns": [lawn(programme="one")],
            "products": [liquid()],
            "programmes": [programme(id="one", steps=steps)],
            "people": [person()],
            **estate,
        },
    )
    place = made.lawns[0]
    key = cell_of(place.latitude, place.longitude)
    why = "" if state == "fresh" else "the last forecast is 10 h old (limit 6 h)"
    weather = {key: CellWeather(key, forecast, state, why)}  # type: ignore[arg-type]
    return outlook(Desk(made, MORNING, weather), place, [], days)


def dry_then_wet(**more: Any) -> Forecast:
    """Dry today, rain all Tuesday, dry again."""
    return mild(
        MIDNIGHT, HOURS, rain=dict.fromkeys(range(24, 48), 2.0), chance_at=dict.fromkeys(range(24, 48), 0.9), **more
    )


def written(figure: Any) -> list[str]:
    """Every text of a figure and its axes."""
    return [text.get_text() for text in texts(figure)]


def texts(figure: Any) -> list[Any]:
    return [*figure.texts, *(text for axes in figure.axes for text in axes.texts)]


def test_the_picture_says_when_to_go_and_what_holds(tmp_path: Path) -> None:
    shown = told(tmp_path, dry_then_wet())
    said = written(lawn_figure(shown))
    (strip,) = shown.strips
    assert strip.line.verdict == "go"
    assert "▲ GO" in said
    assert "■ HOLD" in said
    assert any(text.startswith(brief_hours(strip.line.window, "Europe/London")) for text in said)
    assert any(text.startswith("rain 9") for text in said)
    assert any("Leaf Feed" in text for text in said)
    assert any("issued" in text for text in said), "the age of the forecast"
    assert any("Europe/London" in text for text in said), "whose time it is"
    assert "48 mm" in said, "the rain of the wet day"


def test_the_credit_that_a_feed_asks_for_stands_in_the_picture(tmp_path: Path) -> None:
    credit = "Based on data from MET Norway"
    said = written(lawn_figure(told(tmp_path, dry_then_wet().with_(attribution=credit))))
    assert any(text.startswith(credit) for text in said)


@pytest.mark.parametrize("state", ["stale", "down"])
def test_old_or_missing_weather_is_said_at_the_top_and_offers_nothing(tmp_path: Path, state: str) -> None:
    figure = lawn_figure(told(tmp_path, dry_then_wet() if state == "stale" else None, state=state))
    said = written(figure)
    assert "▲ GO" not in said
    assert any(text.startswith("NO DATA: ") for text in said)
    assert ("old forecast" in said) is (state == "stale")


def test_a_trial_is_said(tmp_path: Path) -> None:
    shown = told(tmp_path, dry_then_wet())
    assert any("TRIAL" in text for text in written(lawn_figure(shown, trial=True)))
    assert not any("TRIAL" in text for text in written(lawn_figure(shown)))


def test_states_differ_in_shape_as_well_as_in_colour(tmp_path: Path) -> None:
    figure = lawn_figure(told(tmp_path, dry_then_wet()))
    heights: dict[str, set[float]] = {}
    for axes in figure.axes:
        for bars in axes.collections:
            if bars.__class__.__name__ in ("PolyCollection", "BrokenBarHCollection") and bars.get_hatch() is None:
                for path in bars.get_paths():
                    low, high = path.vertices[:, 1].min(), path.vertices[:, 1].max()
                    colour = tuple(np.round(bars.get_facecolor()[0], 3))
                    heights.setdefault(str(colour), set()).add(round(high - low, 3))
    go, hold = (str(tuple(np.round(_rgba(ink.COLOUR[state]), 3))) for state in ("go", "hold"))
    assert heights[go] == {1.0}
    assert max(heights[hold]) < 0.5


def _rgba(colour: str) -> Any:
    from matplotlib.colors import to_rgba

    return to_rgba(colour)


@pytest.mark.parametrize("colour", [*ink.COLOUR.values(), ink.INK, ink.GREY, ink.RAIN])
def test_words_stand_out_from_the_ground(colour: str) -> None:
    """At least 4.5 to 1 on white (WCAG 2.1, success criterion 1.4.3 and its definition of relative luminance)."""
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in _rgba(colour)[:3]]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    assert 1.05 / (luminance + 0.05) >= 4.5


def test_the_png_is_light_and_the_svg_is_plain(tmp_path: Path) -> None:
    shown = told(tmp_path, dry_then_wet())
    png = picture(shown)
    image = Image.open(io.BytesIO(png))
    image.load()
    assert image.width == 832
    assert len(png) < 80_000
    assert image.convert("RGB").getpixel((1, 1)) == (255, 255, 255)
    found = {colour for _, colour in image.convert("RGB").getcolors(1 << 20)}
    for state in ("go", "hold"):
        wanted = np.array(_rgba(ink.COLOUR[state])[:3]) * 255  # type: ignore[index]
        assert min(float(np.abs(np.array(colour) - wanted).max()) for colour in found) < 12
    svg = ET.fromstring(picture(shown, "svg").decode())
    names = {element.tag.rpartition("}")[2] for element in svg.iter()}
    assert "path" in names
    assert not names & {"script", "image", "a", "foreignObject"}


def test_pictures_of_the_same_decision_are_alike(tmp_path: Path) -> None:
    shown = told(tmp_path, dry_then_wet())
    assert picture(shown) == picture(shown)


@pytest.mark.parametrize("name", ["$\\frac{1}{0}$ & <script>", "100 % $x^2$ \\alpha", "Größe & Çimen, Łąka 5"])
def test_a_name_is_text_and_nothing_else(tmp_path: Path, name: str) -> None:
    shown = told(tmp_path, dry_then_wet(), lawns=[lawn(programme="one", name=name)], products=[liquid(name=name)])
    figure = lawn_figure(shown)
    assert written(figure).count(name) == 2, "lawn and product"
    assert picture(shown)
    assert b"<script" not in picture(shown, "svg")


def test_a_name_without_letters_for_it_gives_way_to_the_id(tmp_path: Path) -> None:
    shown = told(tmp_path, dry_then_wet(), lawns=[lawn(programme="one", name="芝生 5")])
    said = written(lawn_figure(shown))
    assert "front" in said
    assert "芝生 5" not in said


def test_nothing_due_still_shows_the_weather(tmp_path: Path) -> None:
    steps = [{"product": "leaf-feed", "from": "06-01", "to": "09-30"}]
    shown = told(tmp_path, dry_then_wet(), programmes=[programme(id="one", steps=steps)])
    said = written(lawn_figure(shown))
    assert any(text.startswith("Nothing is due today. Next: Leaf Feed from Mon 1 Jun") for text in said)
    assert "48 mm" in said


def test_readers_of_inches_get_inches(tmp_path: Path) -> None:
    said = " ".join(written(lawn_figure(told(tmp_path, dry_then_wet(), units="us"))))
    for unit in ("in an hour", "mph", "°F", "1.89 in"):
        assert unit in said
    for unit in (" mm", "km/h", "°C"):
        assert unit not in said.replace("0.5 mm or more", "")


def test_every_reason_fits_into_the_column_of_a_day(tmp_path: Path) -> None:
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = lawn_figure(told(tmp_path, dry_then_wet()))
    canvas = FigureCanvasAgg(figure)
    for name in HELD_BY:
        for text in day_words(DayMark(MORNING.date(), "hold", None, name, 0.995), "Europe/London"):
            drawn = ink.words(figure, 0.5, 0.5, text, fontsize=10, weight="bold")
            assert drawn.get_window_extent(canvas.get_renderer()).width <= ink_width(figure) / 5, name


def ink_width(figure: Any) -> float:
    """The width of the hours, in pixels."""
    return float(figure.axes[-1].get_position().width * figure.get_figwidth() * figure.dpi)


@pytest.mark.parametrize("days", [1, 5, 7])
def test_nothing_runs_out_of_the_picture_or_into_the_next_day(tmp_path: Path, days: int) -> None:
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    long = "W" * 20 + " " + "m" * 58
    made = {"lawns": [lawn(programme="one", name=long)], "products": [liquid(name=long)]}
    hours = {"start": "07:30", "end": "17:30", "days": ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]}
    shown = told(tmp_path, dry_then_wet(), days=days, timezone="Asia/Kathmandu", hours=hours, **made)
    figure = lawn_figure(shown)
    renderer = FigureCanvasAgg(figure).get_renderer()
    for text in texts(figure):
        box = text.get_window_extent(renderer)
        assert box.x0 >= 0 and box.x1 <= figure.bbox.width, text.get_text()
        assert box.y0 >= 0 and box.y1 <= figure.bbox.height, text.get_text()
    marks = [text for text in figure.texts if text.get_text() in ("▲ GO", "■ HOLD", "? NO DATA")]
    assert len(marks) >= days
    boxes = sorted((text.get_window_extent(renderer).extents.tolist() for text in marks), key=lambda box: box[0])
    assert all(left[2] <= right[0] for left, right in zip(boxes, boxes[1:], strict=False))


def test_every_limit_has_short_words() -> None:
    assert set(PRIORITY) - {"hours", "daylight"} <= set(HELD_BY)


def test_the_chance_of_a_feed_without_probabilities_is_the_share_of_its_members() -> None:
    members = np.zeros((4, HOURS))
    members[:3, 5] = 1.0
    members[0, 6] = np.nan
    base = mild(MIDNIGHT, HOURS, members_mm=members)
    assert chance_of_rain(base)[5] == pytest.approx(0.02), "the feed's own comes first"
    bare = base.with_(chance=np.full(HOURS, np.nan))
    assert chance_of_rain(bare)[5] == pytest.approx(0.75)
    assert chance_of_rain(bare)[4] == 0.0
    assert np.isnan(chance_of_rain(bare)[6])


def test_without_a_chance_the_picture_says_so(tmp_path: Path) -> None:
    bare = dry_then_wet().with_(chance=np.full(HOURS, np.nan))
    assert "not given by this feed" in written(lawn_figure(told(tmp_path, bare)))


def test_without_matplotlib_there_is_a_plain_word(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shown = told(tmp_path, dry_then_wet())
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    with pytest.raises(ChartsMissing, match="matplotlib"):
        picture(shown)
