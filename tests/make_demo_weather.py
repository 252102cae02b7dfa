"""Writes the demo's invented forecasts. Run from the repository: python -m tests.make_demo_weather

Four places, one morning (4 May 2026): a fair day with rain in the evening; a calm dewy morning that turns windy, light
rain next day; a soaking day; and an answer that is too old to act on.
"""

import json
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.adapters.feeds.answers import met_norway_answer, open_meteo_answer, weather

FOLDER = Path(__file__).parent.parent / "config" / "demo" / "forecasts"
NOON_UTC = 13


def temperature(hour: int, mean: float, swing: float) -> float:
    """A day's course, warmest two hours after noon."""
    return round(mean + swing * math.cos(2 * math.pi * (hour - NOON_UTC - 2) / 24), 1)


def humidity(hour: int, mean: float, swing: float) -> float:
    """The mirror of temperature."""
    return round(min(99.0, mean - swing * math.cos(2 * math.pi * (hour - NOON_UTC - 2) / 24)))


def hours_of(count: int, course: object) -> list[float]:
    """One number an hour."""
    return [float(course(t)) for t in range(count)]  # type: ignore[operator]


def spell(count: int, *spans: tuple[int, int, float]) -> list[float]:
    """Zero but in the half-open spans (first, end, value)."""
    return [next((value for first, end, value in spans if first <= t < end), 0.0) for t in range(count)]


def write(name: str, answer: object) -> None:
    """One file."""
    (FOLDER / name).write_text(json.dumps(answer, separators=(",", ":")) + "\n", "utf-8")


def main() -> None:
    """Write all four."""
    FOLDER.mkdir(exist_ok=True)
    day = datetime(2026, 5, 4, tzinfo=UTC)

    start = day - timedelta(days=2)
    n = 12 * 24
    rain = spell(n, (48 + 18, 48 + 23, 0.7), (96 + 3, 96 + 9, 0.5))
    fair = weather(
        start, n, temperature_c=hours_of(n, lambda t: temperature(t % 24, 12.5, 4.0)),
        humidity_pct=hours_of(n, lambda t: humidity(t % 24, 74, 18)), wind_m_s=2.4, gust_m_s=4.4, cloud_pct=45.0,
        rain_mm=rain, chance=[0.8 if mm else 0.02 for mm in rain],
    )  # fmt: skip
    write(
        "plover.json",
        open_meteo_answer(fair, latitude=51.62, longitude=-1.34, current=day + timedelta(hours=4, minutes=30)),
    )

    issued = day + timedelta(hours=4, minutes=10)
    start, n = day + timedelta(hours=4), 90
    dewy = weather(
        start, n, temperature_c=hours_of(n, lambda t: temperature((t + 4) % 24, 11.5, 3.5)),
        humidity_pct=hours_of(n, lambda t: 94 if t < 5 else humidity((t + 4) % 24, 70, 14)),
        wind_m_s=hours_of(n, lambda t: 1.9 if t < 5 else 7.2 if t < 15 else 3.0),
        gust_m_s=hours_of(n, lambda t: 3.5 if t < 5 else 12.5 if t < 15 else 5.0), cloud_pct=70.0,
        rain_mm=spell(n, (33, 41, 0.65)), chance=[0.85 if 33 <= t < 41 else 0.03 for t in range(n)],
    )  # fmt: skip
    write("sandmartin.json", met_norway_answer(dewy, latitude=52.90, longitude=-0.64, issued=issued))

    soaking = weather(
        start, n, temperature_c=hours_of(n, lambda t: temperature((t + 4) % 24, 10.5, 2.0)),
        humidity_pct=hours_of(n, lambda t: 93 if t < 20 else humidity((t + 4) % 24, 78, 10)),
        wind_m_s=3.8, gust_m_s=6.4, cloud_pct=98.0, rain_mm=spell(n, (3, 8, 1.2), (8, 16, 3.4)),
        chance=[0.95 if 3 <= t < 16 else 0.05 for t in range(n)],
    )  # fmt: skip
    write("heron.json", met_norway_answer(soaking, latitude=54.06, longitude=-2.80, issued=issued))

    old = weather(day - timedelta(hours=6), n, wind_m_s=2.5, gust_m_s=4.5)
    write("mill.json", met_norway_answer(old, latitude=50.42, longitude=-4.10, issued=day - timedelta(hours=5)))


if __name__ == "__main__":
    main()
