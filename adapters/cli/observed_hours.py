"""A record of observed hours from a file, and the hours in which one could have worked."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from adapters.cli.observed_table import MOST_PROBLEMS, Column, Table, read_table
from config.defaults import defaults
from config.models import Product
from config.problems import EstateInvalid, Problem
from config.resolve import product_limits
from scheduler.verify.replay import Workable
from scheduler.weather.forecast import FIELDS, Floats, Ints
from scheduler.weather.physics import delta_t_c

LONGEST_H = 100 * 8766
OTHER = ("temperature_c", "humidity_pct", "wind_m_s")
Times = NDArray[np.datetime64]


@dataclass(frozen=True)
class Record:
    """Observed hours without a gap in time: arrays (H,), NaN where missing."""

    times: Times
    rain: Floats
    other: dict[str, Floats]


def read_record(file: Path) -> Record:
    """Observed hours from a file; EstateInvalid names every row that cannot be used."""
    wanted = [Column(name, *FIELDS[name][1:], required=name == "rain_mm") for name in ("rain_mm", *OTHER)]
    table = read_table(file, "time", wanted, lambda _: None)
    second = np.array(table.times, dtype="datetime64[s]").astype(np.int64) + round(table.offset_s or 0.0)
    hour = second // 3600
    _check_hours(file, table, second % 3600, hour)
    times = np.arange(hour.min(), hour.max() + 1).astype("datetime64[h]")
    place = hour - hour.min()
    filled = {}
    for name, values in table.columns.items():
        filled[name] = np.full(len(times), np.nan)
        filled[name][place] = values
    return Record(times, filled["rain_mm"], {name: filled[name] for name in OTHER if name in filled})


def _check_hours(file: Path, table: Table, past_hour_s: Ints, hour: Ints) -> None:
    """Whole hours, each once, within a century."""
    _, first = np.unique(hour, return_index=True)
    again = np.ones(len(hour), dtype=bool)
    again[first] = False
    wrong = [(int(row), "a time within the hour", "whole hours") for row in np.flatnonzero(past_hour_s)]
    wrong += [
        (int(row), "an hour given before", "each hour once") for row in np.flatnonzero(again & (past_hour_s == 0))
    ]
    if not wrong and hour.max() - hour.min() > LONGEST_H:
        wrong = [(int(np.argmax(hour)), "more than a century after the first", "a record of at most a century")]
    if wrong:
        raise EstateInvalid(
            tuple(
                Problem(file.name, None, "time", f"{found}, {_stamp(table.times[row])}", allowed, table.rows[row])
                for row, found, allowed in sorted(wrong)[:MOST_PROBLEMS]
            )
        )


def _stamp(when: datetime) -> str:
    return f"{when:%Y-%m-%dT%H:%M:%S}"


def workable(record: Record, products: Sequence[Product]) -> Workable | None:
    """Hours whose wind, temperature and Delta T keep each form's limits; None where the record holds rain alone.

    A value that is missing keeps no limit.
    """
    if not record.other:
        return None
    values: dict[str, Floats] = {
        name: record.other[name] for name in ("wind_m_s", "temperature_c") if name in record.other
    }
    if {"temperature_c", "humidity_pct"} <= set(record.other):
        values["delta_t_c"] = delta_t_c(record.other["temperature_c"], record.other["humidity_pct"])
    free = []
    for form in ("liquid", "granular"):
        own = [product_limits(product) for product in products if product.form == form]
        kept = np.ones(len(record.rain), dtype=bool)
        for name, value in values.items():
            stated = getattr(own[0], name) if own else defaults(form).get(name)
            if stated is not None:
                low, high = stated.value
                kept &= (value >= low) & (value <= high)
        free.append(kept)
    return Workable(*free)
