"""The JSON answers. Times are UTC ending in Z; every answer carries "schema": 1."""

import json
from collections.abc import Iterable
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

import click

from scheduler.agreement import Agreement
from scheduler.agronomy.nutrients import Nutrients
from scheduler.decide.explain import Hour
from scheduler.season.plan import Planned
from scheduler.values import Brief, CellWeather, Chance, Due, Entry, Job, Limit, Line, Window


def show(answer: dict[str, Any]) -> None:
    """Print one answer."""
    click.echo(json.dumps({"schema": 1, **answer}, ensure_ascii=False, indent=1, allow_nan=False))


def instant(when: datetime | None) -> str | None:
    """2026-05-04T05:00:00Z."""
    return None if when is None else f"{when.astimezone(UTC).replace(microsecond=0):%Y-%m-%dT%H:%M:%SZ}"


def _round(value: float | None, digits: int = 4) -> float | None:
    return None if value is None else round(value, digits)


def brief(told: Brief) -> dict[str, Any]:
    """A brief."""
    return {
        "now": instant(told.now),
        "estate": told.estate,
        "person": told.person,
        "date": told.local_date.isoformat(),
        "feeds": [feed(cell, told.now) for cell in told.cells],
        "lines": [line(item) for item in told.lines],
        "coming": [{"lawn": a, "product": b, "earliest": c.isoformat()} for a, b, c in told.coming],
    }


def feed(cell: CellWeather, now: datetime) -> dict[str, Any]:
    """The weather of one cell."""
    forecast = cell.forecast
    age = None if forecast is None else round((now - forecast.issued).total_seconds() / 60)
    return {
        "cell": cell.cell,
        "provider": None if forecast is None else forecast.provider,
        "issued": None if forecast is None else instant(forecast.issued),
        "age_min": age,
        "state": cell.state,
        "why": cell.why,
        "attribution": None if forecast is None else forecast.attribution,
        "warnings": None
        if cell.warnings is None
        else [{"event": x.event, "onset": instant(x.onset), "ends": instant(x.ends)} for x in cell.warnings],
    }


def line(item: Line) -> dict[str, Any]:
    """One application of a brief."""
    return {
        "lawn": item.lawn,
        "product": item.product,
        "form": item.form,
        "round": item.group or None,
        "due": due(item.due),
        "verdict": item.verdict,
        "window": window(item.window),
        "next_window": window(item.next_window),
        "chance": chance(item.chance, item.form),
        "binding": item.binding,
        "limits": limits(item.limits),
        "job": job(item.job),
        "cautions": list(item.cautions),
        "text": item.text,
    }


def why(
    estate: str, now: datetime, cell: CellWeather, item: Line, listed: Iterable[Hour], feeds: Agreement
) -> dict[str, Any]:
    """One application with the hours to come, and what each feed says of it."""
    hours = [
        {"start": instant(hour.start), "verdict": hour.verdict, "stopped_by": list(hour.stopped_by),
         "rain_mm": hour.rain_mm, "limits": limits(hour.limits)}
        for hour in listed
    ]  # fmt: skip
    return {"now": instant(now), "estate": estate, "feeds": [feed(cell, now)], **line(item), "hours": hours,
            "agreement": agreement(feeds, now)}  # fmt: skip


def agreement(told: Agreement, now: datetime) -> list[dict[str, Any]]:
    """What each feed says for the same start."""
    return [
        {
            "provider": one.provider,
            "state": one.state,
            "issued": instant(one.issued),
            "age_min": None if one.issued is None else round((now - one.issued).total_seconds() / 60),
            "verdict": one.verdict,
            "binding": one.binding,
            "window": window(one.window),
            "start": instant(told.start),
            "window_h": told.window_h,
            "chance": _round(one.chance),
            "rain_mm": _round(one.rain_mm, 2),
            "method": one.method,
            "why": one.why,
        }
        for one in told.opinions
    ]


def due(dates: Due) -> dict[str, Any]:
    """Earliest, target and latest date."""
    return {name: getattr(dates, name).isoformat() for name in ("earliest", "target", "latest")}


def window(span: Window | None) -> dict[str, Any] | None:
    """A window."""
    if span is None:
        return None
    return {"start": instant(span.start), "end": instant(span.end), "best": instant(span.best),
            "indicative": bool(span.indicative)}  # fmt: skip


def chance(told: Chance | None, form: str) -> dict[str, Any] | None:
    """Chances, as fractions."""
    if told is None:
        return None
    names = {
        "liquid": ("washed_off", "said", "calibrated_days", "wet_mm"),
        "granular": ("dissolved", "too_dry", "too_heavy"),
    }
    wanted = names.get(form, names["liquid"] + names["granular"])
    return {**{name: _round(getattr(told, name)) for name in wanted}, "window_h": told.window_h, "method": told.method,
            "start": instant(told.start)}  # fmt: skip


def limits(told: Iterable[Limit]) -> list[dict[str, Any]]:
    """Limits with value, allowed range and source."""
    return [
        {
            "name": x.name,
            "value": _round(x.value),
            "unit": x.unit,
            "allowed": [_round(x.allowed[0]), _round(x.allowed[1])],
            "margin": margin(x),
            "ok": x.ok,
            "source": x.source,
            "note": x.note,
        }
        for x in told
    ]


def margin(limit: Limit) -> float | None:
    """Distance to the nearer bound in the limit's unit; below 0 when it is broken."""
    low, high = limit.allowed
    if limit.value is None:
        return None
    sides = [side for side in (None if high is None else high - limit.value,
                               None if low is None else limit.value - low) if side is not None]  # fmt: skip
    return _round(min(sides)) if sides else None


def job(told: Job) -> dict[str, Any]:
    """What to measure out; keys that a form does not have are left out."""
    return {key: _round(value, 3) for key, value in asdict(told).items() if value is not None}


def dose(told: Nutrients) -> dict[str, Any]:
    """Nutrients in g/m2."""
    return {f"{key}_g_m2": _round(value, 4) for key, value in asdict(told).items()}


def planned(item: Planned) -> dict[str, Any]:
    """One application of a plan."""
    return {
        "product": item.product.id,
        "form": item.product.form,
        "state": item.state,
        "on": None if item.on is None else item.on.isoformat(),
        "due": None if item.due is None else due(item.due),
        "nutrients": dose(item.dose),
    }


def entry(row: Entry) -> dict[str, Any]:
    """One row of the ledger."""
    return {
        "id": row.id,
        "lawn": row.lawn,
        "product": row.product,
        "kind": row.kind,
        "at": instant(row.at),
        "date": row.local_date.isoformat(),
        "amount": row.amount,
        "by": row.by,
        "note": row.note,
        "undone_at": instant(row.undone_at),
        "end": instant(row.end),
        "area_m2": row.area_m2,
        "water_l": row.water_l,
        "batch": row.batch,
        "licence": row.licence,
        "equipment": row.equipment,
        "calibrated_on": None if row.calibrated_on is None else row.calibrated_on.isoformat(),
        "reason": row.reason,
        "crop": row.crop,
        "temperature_c": row.temperature_c,
        "humidity_pct": row.humidity_pct,
        "wind_m_s": row.wind_m_s,
        "wind_from": row.wind_from,
        "soil": row.soil,
        "weather_by": row.weather_by,
        "forecast_provider": row.forecast_provider,
        "forecast_issued": instant(row.forecast_issued),
        "forecast_chance": row.forecast_chance,
        "forecast_of": row.forecast_of,
        "buffer_m": row.buffer_m,
        "signs_posted": row.signs_posted,
        "reentry_told": row.reentry_told,
    }
