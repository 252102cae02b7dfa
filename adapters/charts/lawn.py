"""The coming days of one lawn as a picture for a phone: what may go on when, above the weather that says so."""

import io
import textwrap
import threading
from dataclasses import replace
from datetime import datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo

import numpy as np

from adapters.charts import panels
from adapters.charts.ink import COLOUR, GREY, GRID, INK, NIGHT, PALE, fit, palette, words, writable
from adapters.charts.words import SHAPE, WORD, chance_words, day_words
from scheduler.messages import show
from scheduler.messages.brief import LABEL_FIRST, feed_lines
from scheduler.outlook import Outlook, Strip
from scheduler.values import Verdict
from scheduler.weather.forecast import HOUR

WIDTH_IN, DPI = 5.2, 160
LEFT_IN, RIGHT_IN = 0.46, 0.10
STRIP_IN, PANEL_IN, GAP_IN, HEAD_IN = 0.86, 0.78, 0.27, 0.30
FOOT_CHARS = 100

_TURN = threading.Lock()  # matplotlib makes no promise about threads


class ChartsMissing(Exception):
    """matplotlib is not installed."""


def picture(told: Outlook, form: Literal["png", "svg"] = "png", *, trial: bool = False) -> bytes:
    """The picture of a lawn's coming days, 832 pixels wide. Raises ChartsMissing."""
    with _TURN:
        figure = lawn_figure(told, trial=trial)
        return _png(figure) if form == "png" else _svg(figure)


def lawn_figure(told: Outlook, *, trial: bool = False) -> Any:
    """The picture as a matplotlib Figure. Raises ChartsMissing."""
    try:
        from matplotlib.figure import Figure
    except ImportError:
        raise ChartsMissing("pictures need matplotlib: pip install 'ligule[charts]'") from None
    return _Page(told, trial, Figure).drawn()


def _png(figure: Any) -> bytes:
    """Our own few colours and their blends with white, so that it is light in a mail."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    figure.set_dpi(DPI)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()  # type: ignore[no-untyped-call]
    full = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")  # type: ignore[no-untyped-call]
    inks = Image.new("P", (1, 1))
    inks.putpalette(palette())
    out = io.BytesIO()
    full.quantize(palette=inks, dither=Image.Dither.NONE).save(out, format="png", optimize=True)
    return out.getvalue()


def _svg(figure: Any) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format="svg", metadata={"Date": None})
    return out.getvalue()


class _Page:
    """One figure, filled from the top down; all measures in inches."""

    def __init__(self, told: Outlook, trial: bool, make: Any) -> None:
        self.told, self.trial = told, trial
        self.tz = ZoneInfo(told.zone)
        self.hours = (told.end - told.start) / HOUR
        self.notes = self._notes()
        self.foot = [part for line in self._foot() for part in textwrap.wrap(line, FOOT_CHARS)]
        self.panels = panels.panels_for(told)
        top = 0.66 + 0.21 * len(self.notes)
        strips = STRIP_IN * len(told.strips) if told.strips else 0.34
        below = 0.24 + 0.155 * len(self.foot) + 0.10
        self.height = top + HEAD_IN + strips + (PANEL_IN + GAP_IN) * len(self.panels) + below
        self.figure = make(figsize=(WIDTH_IN, self.height), facecolor="white")
        self.y = self.height

    def drawn(self) -> Any:
        """The finished figure."""
        self._title()
        self._days()
        for strip in self.told.strips:
            self._strip(strip)
        if not self.told.strips:
            self._nothing_due()
        for number, panel in enumerate(self.panels):
            self._panel(panel, last=number == len(self.panels) - 1)
        self.y -= 0.24
        for line in self.foot:
            self.y -= 0.155
            self._write(0.10, self.y, line, fontsize=8.5, color=GREY)
        return self.figure

    # Words at the top and the bottom.

    def _notes(self) -> list[str]:
        said = ["TRIAL: the clock was set by hand. Do not act on it."] if self.trial else []
        if self.told.cell.state != "fresh":
            said += textwrap.wrap(f"NO DATA: {self.told.cell.why}. Do not act on this.", 64)
        return said

    def _foot(self) -> list[str]:
        signs = ", ".join(f"{SHAPE[state]} {WORD[state].lower()}" for state in SHAPE)
        return [
            f"{signs}; ~ about. Grey: night, dots: now. Time of {self.told.zone}.",
            *feed_lines([replace(self.told.cell, state="fresh")], self.told.now),  # its trouble stands at the top
            LABEL_FIRST,
        ]

    def _title(self) -> None:
        self.y -= 0.30
        name = writable(self.told.lawn.name, self.told.lawn.id)
        self._write(0.10, self.y, name, room=self._right - 0.10, fontsize=15, weight="bold")
        self.y -= 0.22
        local = self.told.now.astimezone(self.tz)
        self._write(0.10, self.y, f"Decided {show.day(local.date())} at {local:%H:%M}", fontsize=10.5, color=GREY)
        if self.told.cell.forecast is not None:
            age_h = (self.told.now - self.told.cell.forecast.issued) / HOUR
            age = f"{age_h * 60:.0f} min" if age_h < 2 else f"{age_h:.0f} h"
            self._write(self._right, self.y, f"forecast of {age} ago", fontsize=10.5, color=GREY, ha="right")
        for note in self.notes:
            self.y -= 0.21
            self._write(0.10, self.y, note, fontsize=10.5, weight="bold")
        self.y -= 0.14

    def _days(self) -> None:
        self.y -= HEAD_IN
        for number, day in enumerate(self.told.dates):
            name = "Today" if number == 0 else f"{show.DAYS[day.weekday()]} {day.day}"
            self._write(self._middle(number), self.y + 0.10, name, fontsize=11, weight="bold", ha="center")

    # What may go on when.

    def _strip(self, strip: Strip) -> None:
        self.y -= STRIP_IN
        self._behind(self.y + 0.08, 0.24)
        name = writable(strip.line.product_name, strip.line.product)
        aside = chance_words(strip)
        room = self._right - 0.10 - (2.3 if aside else 0.0)
        self._write(0.10, self.y + 0.70, name, room=room, fontsize=10.5, weight="bold")
        self._write(self._right, self.y + 0.70, aside, room=2.2, fontsize=9, color=GREY, ha="right")
        for number, mark in enumerate(strip.days):
            self._day_words(number, day_words(mark, self.told.zone), mark.verdict)
        axes = self._axes(self.y + 0.12, 0.16)
        axes.axis("off")
        for run in strip.runs:
            left, width = self._at(run.start), (run.end - run.start) / HOUR
            tall = {"go": (0.0, 1.0), "hold": (0.34, 0.32), "unknown": (0.34, 0.32)}[run.verdict]
            style = {"facecolor": COLOUR[run.verdict], "edgecolor": COLOUR[run.verdict], "linewidth": 0.8}
            if run.verdict == "unknown":
                style |= {"facecolor": PALE["unknown"], "linestyle": ":"}
            if run.verdict == "go" and run.indicative:
                style |= {"facecolor": "white", "hatch": "////"}
            axes.broken_barh([(left, width)], tall, **style)

    def _day_words(self, number: int, lines: tuple[str, str], verdict: Verdict | None) -> None:
        colour, decided = (COLOUR[verdict], verdict != "unknown") if verdict else (GREY, False)
        room = self._room / len(self.told.dates) - 0.04
        for line, up, weight in zip(lines, (0.51, 0.35), ("bold" if decided else "normal", "normal"), strict=True):
            at = self._middle(number), self.y + up
            self._write(*at, line, room=room, fontsize=10, ha="center", color=colour, weight=weight)

    def _behind(self, bottom: float, height: float) -> None:
        """Night, midnights and now behind the bars of a product."""
        axes = self._axes(bottom, height)
        axes.axis("off")
        self._ground(axes)

    def _nothing_due(self) -> None:
        self.y -= 0.34
        said = "Nothing is due today."
        if self.told.coming:
            name, when = min(self.told.coming, key=lambda item: item[1])
            said += f" Next: {writable(name, 'a product')} from {show.day(when)}."
        self._write(0.10, self.y + 0.14, said, fontsize=10.5)

    # The weather.

    def _panel(self, panel: panels.Panel, *, last: bool) -> None:
        self.y -= GAP_IN
        self._write(0.10, self.y + 0.05, panel.title, fontsize=10, weight="bold")
        self._write(self._right, self.y + 0.05, panel.aside, fontsize=9.5, color=GREY, ha="right")
        self.y -= PANEL_IN
        axes = self._axes(self.y, PANEL_IN)
        panel.draw(axes)
        self._ground(axes)
        axes.set_ylim(*panel.span)
        axes.set_yticks(panel.ticks, [f"{tick:g}" for tick in panel.ticks])
        for label in axes.get_yticklabels():
            label.set(family=["STIXGeneral"], fontsize=9.5, color=INK)
        axes.grid(axis="y", color=GRID, linewidth=0.6)
        for side in axes.spines.values():
            side.set(color=GRID, linewidth=0.6)
        axes.tick_params(length=0)
        axes.set_axisbelow(True)
        if self.told.cell.state != "fresh":
            words(axes, self.hours / 2, sum(panel.span) / 2, "old forecast", fontsize=20, color="#8c8c8c",
                  ha="center", va="center", zorder=5)  # fmt: skip
        if last:
            self._clocks()

    def _ground(self, axes: Any) -> None:
        """Night, midnights and now."""
        for start, end in self.told.nights:
            axes.axvspan(self._at(start), self._at(end), color=NIGHT, linewidth=0, zorder=0)
        for midnight in self.told.midnights[1:-1]:
            axes.axvline(self._at(midnight), color="#8c8c8c", linewidth=0.8, zorder=1)
        axes.axvline(self._at(self.told.now), color=INK, linewidth=1.0, linestyle=(0, (2, 2)), zorder=4)

    def _clocks(self) -> None:
        for day in self.told.dates:
            for hour in (6, 12, 18):
                when = datetime(day.year, day.month, day.day, hour, tzinfo=self.tz)
                at = LEFT_IN + self._at(when) / self.hours * self._room
                self._write(at, self.y - 0.16, f"{hour}", fontsize=9, ha="center", color=GREY)

    # Places.

    @property
    def _right(self) -> float:
        return WIDTH_IN - RIGHT_IN

    @property
    def _room(self) -> float:
        return self._right - LEFT_IN

    def _at(self, when: datetime) -> float:
        return (when - self.told.start) / HOUR

    def _middle(self, number: int) -> float:
        """The middle of a day, in inches from the left."""
        a, b = self.told.midnights[number : number + 2]
        return LEFT_IN + (self._at(a) + self._at(b)) / 2 / self.hours * self._room

    def _axes(self, bottom: float, height: float) -> Any:
        axes = self.figure.add_axes(
            (LEFT_IN / WIDTH_IN, bottom / self.height, self._room / WIDTH_IN, height / self.height)
        )
        axes.set_xlim(0, self.hours)
        axes.set_xticks([])
        axes.set_ylim(0, 1)
        return axes

    def _write(self, x: float, y: float, text: str, *, room: float | None = None, **style: Any) -> None:
        """Write at a place; smaller where `room` inches would not do, and cut where that would be too small."""
        written = words(self.figure, x / WIDTH_IN, y / self.height, text, **style)
        if room is not None:
            fit(written, room * self.figure.dpi)
