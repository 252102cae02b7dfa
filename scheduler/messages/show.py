"""Numbers and times as people read them: metric or US units, local wall time."""

import re
from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from scheduler.agronomy import units as u
from scheduler.values import Window

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day(when: date) -> str:
    """ "Tue 5 May"."""
    return f"{DAYS[when.weekday()]} {when.day} {MONTHS[when.month - 1]}"


@lru_cache(maxsize=4096)
def clock(when: datetime, zone: str) -> str:
    """ "09:00", local."""
    return f"{when.astimezone(ZoneInfo(zone)):%H:%M}"


def span(window: Window, zone: str) -> str:
    """ "09:00-12:00", local."""
    return f"{clock(window.start, zone)}-{clock(window.end, zone)}"


def percent(share: float) -> str:
    """ "42 %"; no forecast is called none or certain."""
    if share < 0.01:
        return "below 1 %"
    if share > 0.99:
        return "over 99 %"
    return f"{share * 100:.0f} %"


def _trim(value: float, digits: int = 3) -> str:
    """A number to three significant digits without an exponent."""
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits}g}")
    return f"{rounded:.0f}" if abs(rounded) >= 100 or rounded == int(rounded) else f"{rounded:g}"


def volume(ml: float, units: str) -> str:
    """A liquid amount: ml or l; fl oz or gal."""
    if units == "us":
        ounces = u.fl_oz_from_ml(ml)
        return f"{_trim(ounces)} fl oz" if ounces < 128 else f"{_trim(u.gal_from_l(ml / 1000))} gal"
    return f"{_trim(ml)} ml" if ml < 1000 else f"{_trim(ml / 1000)} l"


def weight(grams: float, units: str) -> str:
    """A dry amount: g or kg; oz or lb."""
    if units == "us":
        pounds = u.lb_from_g(grams)
        return f"{_trim(pounds)} lb" if pounds >= 1 else f"{_trim(u.oz_from_g(grams))} oz"
    return f"{_trim(grams)} g" if grams < 1000 else f"{_trim(grams / 1000)} kg"


def rain(mm: float, units: str) -> str:
    """A rain amount: mm or in."""
    return f"{u.in_from_mm(mm):.2f} in" if units == "us" else f"{_trim(round(mm, 1))} mm"


def rain_band(low: float, high: float, units: str) -> str:
    """ "2-12 mm"."""
    if units == "us":
        return f"{u.in_from_mm(low):.2f}-{u.in_from_mm(high):.2f} in"
    return f"{low:g}-{high:g} mm"


def in_units(text: str, units: str) -> str:
    """A note written with mm, for readers of inches."""
    if units != "us":
        return text
    return re.sub(
        r"(\d+(?:\.\d+)?)(?:-(\d+(?:\.\d+)?))? mm",
        lambda m: rain_band(float(m[1]), float(m[2]), units) if m[2] else rain(float(m[1]), units),
        text,
    )


def wind(m_s: float, units: str) -> str:
    """A wind speed: km/h or mph."""
    return f"{u.mph_from_m_s(m_s):.0f} mph" if units == "us" else f"{u.km_h_from_m_s(m_s):.0f} km/h"


def temperature(celsius: float, units: str) -> str:
    """A temperature: °C or °F."""
    return f"{u.f_from_c(celsius):.0f} °F" if units == "us" else f"{_trim(round(celsius, 1))} °C"


def area(m2: float, units: str) -> str:
    """An area: m² or ft²."""
    return f"{_trim(u.ft2_from_m2(m2), 4)} ft²" if units == "us" else f"{_trim(m2, 4)} m²"


def per_area(g_m2: float, units: str) -> str:
    """A nutrient dose: g/m² or lb/1000 ft²."""
    return f"{_trim(u.lb_1000ft2_from_g_m2(g_m2), 2)} lb/1000 ft²" if units == "us" else f"{_trim(g_m2, 2)} g/m²"
