"""Colours and letters of the pictures, and text that stays text."""

from functools import cache
from typing import Any

from scheduler.values import Verdict

# The states' colours are those of the brief: apart for colour-blind eyes, and never alone.
COLOUR: dict[Verdict, str] = {"go": "#12508c", "hold": "#8a4b00", "unknown": "#6b6b6b"}
PALE: dict[Verdict, str] = {"go": "#12508c", "hold": "#ecdcc4", "unknown": "#e4e4e4"}
INK, GREY, NIGHT, GRID = "#1c1c1c", "#4a4a4a", "#ececec", "#c8c8c8"
RAIN, WIND, WARMTH = "#3d5a6c", "#1c1c1c", "#1c1c1c"

# Both come with matplotlib, so that a picture looks alike everywhere; the second has the signs that the first lacks.
SMALLEST = 7.0
FAMILIES = ("STIXGeneral", "DejaVu Serif")


def words(target: Any, x: float, y: float, text: str, **style: Any) -> Any:
    """Write on a figure or axes. A dollar sign is a dollar sign: nothing in a name is taken for mathematics."""
    style.setdefault("color", INK)
    return target.text(x, y, text, parse_math=False, family=list(FAMILIES), **style)


def fit(text: Any, width_px: float) -> None:
    """Make a text smaller until it is no wider than that; below SMALLEST its end is cut off instead."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    renderer = FigureCanvasAgg(text.figure).get_renderer()  # type: ignore[no-untyped-call]
    while (wide := text.get_window_extent(renderer).width) > width_px:
        size, said = text.get_fontsize(), text.get_text()
        if size > SMALLEST:
            text.set_fontsize(max(SMALLEST, min(size - 0.5, size * width_px / wide)))
        else:
            text.set_text(f"{said.removesuffix('...')[:-1].rstrip()}...")


def palette() -> list[int]:
    """The colours of the pictures with their blends towards white, as red, green, blue from 0 to 255."""
    found = [255, 255, 255]
    for colour, blends in [*((dark, 12) for dark in (*COLOUR.values(), INK, GREY, RAIN)),
                           *((light, 1) for light in (*PALE.values(), NIGHT, GRID))]:  # fmt: skip
        parts = [int(colour[at : at + 2], 16) for at in (1, 3, 5)]
        found += [round(255 - (255 - part) * share / blends) for share in range(1, blends + 1) for part in parts]
    return found


def writable(text: str, instead: str) -> str:
    """The text if the pictures have a sign for each of its characters, else `instead`."""
    known = _known()
    return text if all(ord(character) in known for character in text) else instead


@cache
def _known() -> frozenset[int]:
    from matplotlib import font_manager, ft2font

    found: set[int] = set()
    for family in FAMILIES:
        path = font_manager.findfont(font_manager.FontProperties(family=family), fallback_to_default=False)
        found |= set(ft2font.FT2Font(path).get_charmap())
    return frozenset(found)
