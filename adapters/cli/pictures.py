"""Pictures of a verification and of a replayed season, drawn by matplotlib (optional: `pip install ligule[charts]`)."""

from pathlib import Path
from typing import Any

import numpy as np

from adapters.cli.context import OUTSIDE_FAILED, Ended
from scheduler.verify.replay import POLICIES, Replay
from scheduler.verify.scores import Verification

FORMATS = (".png", ".svg")
NAMES = {
    "calendar": "calendar", "one_run": "one run", "ligule": "ligule",
    "ligule_one_run": "ligule, one run", "clairvoyant": "clairvoyant",
}  # fmt: skip


def check_picture(path: Path) -> None:
    """End early if the picture cannot be drawn or written."""
    if path.suffix.lower() not in FORMATS:
        raise Ended(f"--picture: found {path.name!r}, allowed: a name ending in {' or '.join(FORMATS)}")
    if not path.absolute().parent.is_dir():
        raise Ended(f"--picture: the folder {str(path.absolute().parent)!r} does not exist")
    try:
        import matplotlib  # noqa: F401
    except ImportError:
        raise Ended("--picture needs matplotlib: pip install 'ligule[charts]'", OUTSIDE_FAILED) from None


def draw_reliability(path: Path, told: Verification, threshold_mm: float) -> None:
    """Observed frequency against forecast chance, and how often each chance was given."""
    figure = _figure(5, 6)
    upper, lower = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (3, 1)})
    forecast = [b.forecast for b in told.reliability]
    upper.plot([0, 1], [0, 1], color="0.6", linestyle="--", label="perfect")
    upper.axhline(told.base_rate, color="0.6", linestyle=":", label="climate")
    upper.plot(forecast, [b.observed for b in told.reliability], marker="o", label="observed")
    upper.set(xlim=(0, 1), ylim=(0, 1), ylabel="observed frequency")
    upper.set_title(f"{threshold_mm:g} mm or more, {told.n} pairs, skill {told.skill:.2f}")
    upper.legend()
    lower.bar(forecast, [b.n for b in told.reliability], width=0.06)
    lower.set(xlabel="forecast chance", ylabel="pairs", yscale="log")
    _save(figure, path)


def draw_replay(path: Path, told: Replay, rain: Any, times: Any, repeat_days: int) -> None:
    """Rates of every policy with their bounds, and the last season of the record: rain and the days taken."""
    figure = _figure(10, 7)
    grid = figure.add_gridspec(2, 2)
    _rates(figure.add_subplot(grid[0, 0]), told.liquid, "washed_off", "liquids washed off")
    _rates(figure.add_subplot(grid[0, 1]), told.granular, "success", "granules dissolved as wanted")
    axis = figure.add_subplot(grid[1, :])
    year = int(told.season.year[told.due[-1]])
    inside = times.astype("datetime64[Y]").astype(int) + 1970 == year
    days = times[inside].astype("datetime64[D]")
    each, place = np.unique(days, return_inverse=True)
    axis.bar(each, np.bincount(place, weights=np.nan_to_num(rain[inside])), color="0.75", width=1.0, label="rain")
    axis.set(ylabel="mm a day", title=f"{year}: a liquid every {repeat_days} days; crosses were washed off")
    top = axis.get_ylim()[1]
    for height, name in enumerate(("calendar", "ligule")):
        taken = chain(told, name, year, repeat_days)
        when = times[told.season.start[taken]].astype("datetime64[D]")
        wet = told.season.wet[taken] == 1.0
        level = np.full(len(taken), top * (1.1 + 0.12 * height))
        colour = f"C{height}"
        axis.plot(when[~wet], level[~wet], "o", color=colour, label=NAMES[name])
        axis.plot(when[wet], level[wet], "x", color=colour, markersize=9)
    axis.set_ylim(0, top * 1.4)
    axis.legend(loc="upper left", ncols=3)
    _save(figure, path)


def chain(told: Replay, policy: str, year: int, repeat_days: int) -> Any:
    """Days taken by one lawn in one year, each due so many days after the last: indices into the season."""
    due = told.due[told.season.year[told.due] == year]
    taken_by_due = dict(zip(told.due.tolist(), told.liquid[policy].taken.tolist(), strict=True))
    found, day = [], int(due[0])
    while day <= due[-1]:
        if day not in taken_by_due:  # a due date that cannot be judged
            day += 1
            continue
        found.append(taken_by_due[day])
        day = found[-1] + repeat_days
    return np.array(found, dtype=np.int64)


def _rates(axis: Any, outcomes: Any, rate: str, title: str) -> None:
    rates = [outcomes[name].rates[rate] for name in POLICIES]
    value = np.array([r.value for r in rates])
    error = np.array([[r.value - r.low for r in rates], [r.high - r.value for r in rates]])
    place = np.arange(len(POLICIES))[::-1]
    axis.barh(place, value, xerr=np.nan_to_num(np.maximum(error, 0)), capsize=3)
    axis.set_yticks(place, [f"{NAMES[name]} ({outcomes[name].delay_d:+.1f} d)" for name in POLICIES])
    axis.set(title=title, xlim=(0, None))
    axis.xaxis.set_major_formatter(lambda x, _: f"{x:.0%}")
    axis.locator_params(axis="x", nbins=6)


def _figure(width: float, height: float) -> Any:
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained")


def _save(figure: Any, path: Path) -> None:
    try:
        figure.savefig(path, dpi=120, metadata={"Date": None} if path.suffix.lower() == ".svg" else None)
    except OSError as error:
        raise Ended(f"--picture: {path} cannot be written: {error.strerror}", OUTSIDE_FAILED) from None
