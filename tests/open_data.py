"""Checks on long open records that are not part of the project: `python -m tests.open_data FILE...`.

Each FILE is an hourly record as `ligule replay` reads it (CSV: time, rain_mm), such as NOAA observations of an airport
or UCI data set 501. Prints what the chance of a window and the policies reach there; ends in 1 when the chance is off
by more than 0.01 or no better than the simple ways of combining hours.
"""

import sys
from pathlib import Path

import numpy as np

from adapters.cli.observed_hours import Record, read_record
from scheduler.verify.replay import POLICIES, replay
from scheduler.weather.chance import rho_for, window_chance
from scheduler.weather.rolling import rolling_max, rolling_sum


def marginals(record: Record) -> np.ndarray:
    """Each hour's chance of >= 0.2 mm: the frequency at its month and hour of day over the record."""
    wet = np.where(np.isnan(record.rain), np.nan, record.rain >= 0.2)
    key = record.times.astype("datetime64[M]").astype(int) % 12 * 24 + record.times.astype(int) % 24
    known = ~np.isnan(wet)
    count = np.bincount(key[known], minlength=288)
    return (np.bincount(key[known], weights=wet[known], minlength=288) / np.maximum(count, 1))[key]


def check_windows(record: Record) -> bool:
    """Print the errors of window chances; whether all of 6 and 8 h are within the bounds."""
    p, each, fine = marginals(record), np.arange(len(record.rain)), True
    for wet_mm in (0.2, 0.5, 1.0, 2.0, 5.0):
        for hours in (3, 6, 8, 12, 24):
            total = rolling_sum(record.rain, hours)
            known = ~np.isnan(total)
            wet = total[known] >= wet_mm - 1e-9
            ways = {
                "chain": window_chance(p, each, hours, rho_for(wet_mm, hours))[known],
                "highest": rolling_max(p, hours)[known],
                "independent": window_chance(p, each, hours, 0.0)[known],
            }
            error = ways["chain"].mean() - wet.mean()
            brier = {name: float(np.mean((said - wet) ** 2)) for name, said in ways.items()}
            print(f"  {wet_mm} mm in {hours:2} h: came {wet.mean():.3f}, error {error:+.4f}, Brier "
                  + ", ".join(f"{name} {score:.4f}" for name, score in brier.items()))  # fmt: skip
            if hours in (6, 8) and wet_mm <= 0.5:
                fine &= abs(error) <= 0.01 and brier["chain"] < min(brier["highest"], brier["independent"])
    return fine


def show_replay(record: Record) -> None:
    """Print the rates of every policy at each skill."""
    for skill in ("low", "high", "perfect"):
        told = replay(record.rain, record.times, skill, np.random.default_rng(1))
        print(f"  {skill} skill, {told.n} due dates:")
        for name in POLICIES:
            wet, good = told.liquid[name].rates["washed_off"], told.granular[name].rates["success"]
            print(f"    {name:15} washed off {wet.value:.3f} [{wet.low:.3f}, {wet.high:.3f}] at "
                  f"{told.liquid[name].delay_d:.2f} d, dissolved {good.value:.3f} [{good.low:.3f}, {good.high:.3f}] at "
                  f"{told.granular[name].delay_d:.1f} d")  # fmt: skip


def main(files: list[str]) -> int:
    """Check every file."""
    fine = True
    for file in files:
        print(file)
        record = read_record(Path(file))
        fine &= check_windows(record)
        show_replay(record)
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
