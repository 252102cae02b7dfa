"""The reason and the one sentence a person can act on, for each line of a brief."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from config.resolve import product_limits
from scheduler.decide.cautions import dry_hours
from scheduler.decide.verdict import Judged
from scheduler.messages import show
from scheduler.season.due import Task
from scheduler.values import Due, Job, Limit, Stretch, Window

WATER_IN = "water 15-20 min"  # common practice
AMOUNT = "\N{OBJECT REPLACEMENT CHARACTER}"  # stands in a sentence where the lawn's own amount goes


def reason(line: Judged, zone: str, units: str) -> str:
    """Why an application is held or undecided, or what limits a go, in a few words."""
    if len({stretch.limit.name for stretch in line.story}) > 1:
        return _day_words(line.story[:3], zone, units)
    limits = [limit for limit in line.limits if limit.name == line.binding]
    chosen = next((limit for limit in limits if limit.ok is False), limits[0] if limits else None)
    if line.verdict == "unknown":
        return chosen.note if chosen and chosen.name == "data" and chosen.note else "the forecast has gaps for today"
    if line.binding == "hours":
        return "no working hours left today"
    if line.binding == "daylight":
        return "no daylight left in the working hours"
    amount = next((x for x in limits if x.ok is False and x.unit != "1" and x.value is not None), None)
    if chosen and amount and amount is not chosen and chosen.unit == "1":
        return f"{_limit_words(chosen, units)}; the forecast has {show.rain(amount.value or 0, units)}"
    return _limit_words(chosen, units) if chosen else ""


def _day_words(story: tuple[Stretch, ...], zone: str, units: str) -> str:
    """The day's obstacles in order: "the leaf is wet until 10:00, then gusts of 45 km/h (at most 30 km/h)"."""
    first, *rest = (_limit_words(stretch.limit, units) for stretch in story)
    return f"{first} until {show.clock(story[0].end, zone)}" + "".join(f", then {words}" for words in rest)


def _limit_words(limit: Limit, units: str) -> str:
    """One limit in words, with its value and what is allowed."""
    low, high = limit.allowed
    value = limit.value
    words = {
        "closed_season": limit.note or "closed season",
        "weather_warning": f"weather warning in force: {limit.note}",
        "inversion": "still and clear air near dark: fine spray would hang and drift",
        "leaf": "the leaf is wet" if high == 0 else "the leaf is dry, this product wants it damp",
    }
    if limit.name in words:
        return words[limit.name]
    if value is None:
        return limit.note or limit.name.replace("_", " ")
    if limit.name in ("rain_after", "heavy_rain", "rain_band"):
        return _rain_words(limit, value, units)
    if limit.name in ("wind", "gust"):
        title = "wind" if limit.name == "wind" else "gusts of"
        note = f", {limit.note}" if limit.note else ""
        return f"{title} {show.wind(value, units)} ({_range(low, high, lambda x: show.wind(x, units))}{note})"
    if limit.name == "temperature":
        return f"{show.temperature(value, units)} ({_range(low, high, lambda x: show.temperature(x, units))})"
    if limit.name == "frost":
        return (
            f"down to {show.temperature(value, units)} in the next 24 h (at least {show.temperature(low or 0, units)})"
        )
    if limit.name == "delta_t":
        return f"Delta T {value:.1f} K ({_range(low, high, lambda x: f'{x:g}')})"
    if limit.name == "ground":
        if limit.unit.startswith("h"):
            return f"ground frozen for {value:.0f} of the last 24 h"
        return f"{show.rain(value, units)} of rain in the 24 h before: ground saturated"
    return _lawn_words(limit, value, units)


def _rain_words(limit: Limit, value: float, units: str) -> str:
    low, high = limit.allowed
    if limit.unit == "1":
        wanted = f"at least {show.percent(low)} wanted" if low else f"accepted: {show.percent(high or 0)}"
        return f"{show.percent(value)} {show.in_units(limit.note, units)} ({wanted})"
    amount = show.rain(value, units) + (
        " in an hour" if limit.unit == "mm/h" else " in 24 h" if "24" in limit.unit else ""
    )
    return f"{show.in_units(limit.note, units)}: {amount} (limit {show.rain(high or 0, units)})"


def _lawn_words(limit: Limit, value: float, units: str) -> str:
    low, high = limit.allowed
    if limit.name == "interval":
        return f"only {value:.0f} days since the last one (at least {low:.0f})"
    if limit.name == "yearly_maximum":
        return f"it would be application {value:.0f} of the year (at most {high:.0f})"
    if limit.name == "new_turf":
        return f"sown {value:.0f} days ago (wait {low:.0f})"
    if limit.name == "water_distance":
        return f"water lies {value:g} m away (at least {low:g} m: leave a strip and enter the distance you keep)"
    if limit.name in ("nitrogen_cap", "phosphorus_cap") and high is not None:
        over = value - high
        extra = f", {over:.2g} over" if over > 0 else ""
        return f"{value:.3g} {limit.unit} (cap {high:.3g}{extra})"
    return limit.note or f"{limit.name.replace('_', ' ')} {value:g} {limit.unit}"


def _range(low: float | None, high: float | None, say: Callable[[float], str]) -> str:
    if low is not None and high is not None:
        return f"allowed {say(low)} to {say(high)}"
    if high is not None:
        return f"at most {say(high)}"
    return f"at least {say(low)}" if low is not None else "no limit"


def sentence(line: Judged, why: str, task: Task, zone: str, units: str, now: datetime) -> str:
    """What to do, when and why, in one or two sentences; local times. AMOUNT stands for what `measure` says.

    Nothing but the verdict, the due dates, the product and whether the lawn can be watered goes into it.
    """
    today = now.astimezone(ZoneInfo(zone)).date()
    late = _late(task.due, today)
    if line.verdict == "go" and line.window is not None:
        return _go(line, task, line.window, zone, units) + late
    if line.verdict == "unknown":
        return f"No decision: {why}. Do not apply on this; look again when a fresh forecast is in."
    return f"Hold: {why}.{_better(line)} {_next(line, zone, today)}{late}"


def _better(line: Judged) -> str:
    if line.better is None:
        return ""
    day, chance = line.better
    return f" {show.day(day)} looks likelier: {show.percent(chance)}."


def _late(due: Due, today: date) -> str:
    if today <= due.latest:
        return ""
    if due.first:
        return " Nothing is recorded yet this season."
    return f" It was wanted by {show.day(due.latest)}; never make up for it with a larger dose."


def _next(line: Judged, zone: str, today: date) -> str:
    """When to look again."""
    window = line.next_window
    if window is None:
        return "No window in the forecast; look again tomorrow morning."
    when = window.start.astimezone(ZoneInfo(zone)).date()
    name = "tomorrow" if when == today + timedelta(days=1) else show.day(when)
    about = "about " if window.indicative else ""
    return f"Next window {name} {about}{show.span(window, zone)}; look again that morning."


def measure(job: Job, units: str, tank_l: float) -> str:
    """What to measure out: "210 ml made up to 3.6 l with water, 1 fill of 15 l"."""
    if job.product_ml is not None and job.water_l is not None:
        text = f"{show.volume(job.product_ml, units)} made up to {show.volume(job.water_l * 1000, units)} with water"
        if job.fills and job.fills > 1:
            return f"{text}, {job.fills:.1f} fills of {show.volume(tank_l * 1000, units)}"
        return f"{text}, one fill"
    if job.product_g is not None:
        return f"{show.weight(job.product_g, units)} on {show.area(job.area_m2, units)}"
    return f"{show.volume(job.product_ml or 0, units)} on {show.area(job.area_m2, units)}"


def _go(line: Judged, task: Task, window: Window, zone: str, units: str) -> str:
    best = ""
    if window.best is not None and window.best > window.start:
        best = f", best from {show.clock(window.best, zone)}"
    return f"Go {show.span(window, zone)}{best}: {AMOUNT}. {_rain_outlook(line, task, window, zone, units)}"


def _rain_outlook(line: Judged, task: Task, window: Window, zone: str, units: str) -> str:
    """The chance that decided, and what to do about water afterwards."""
    chance, limits = line.chance, product_limits(task.product)
    if chance is None:
        return ""
    dry = dry_hours(task.product)
    if dry is not None and chance.washed_off is not None and limits.wet_mm is not None:
        until = window.end + timedelta(hours=dry)
        same_day = until.astimezone(ZoneInfo(zone)).date() == window.start.astimezone(ZoneInfo(zone)).date()
        short = same_day and window.end - window.start <= timedelta(hours=4)
        stop = f"until {show.clock(until, zone)}" if short else f"for {dry:g} h after you finish"
        text = (
            f"{show.percent(chance.washed_off).capitalize()} chance of "
            f"{show.rain(limits.wet_mm.number, units)} or more within {dry:g} h."
        )
        if task.lawn.irrigation != "none":
            text += f" Keep sprinklers off {stop}."
        if task.product.form == "combined":
            damp = " Wet the lawn lightly first if the leaf is dry." if task.lawn.irrigation != "none" else ""
            text += (
                f"{damp} If no rain has fallen {limits.dissolve_h.number:g} h later, {WATER_IN}."
                if limits.dissolve_h and task.lawn.irrigation != "none"
                else damp
            )
        return text
    if chance.dissolved is not None and limits.rain_band_mm is not None:
        low, high = limits.rain_band_mm.value
        if task.lawn.irrigation != "none" and (chance.too_dry or 0) > 0.5:
            return f"Little rain in sight ({show.percent(chance.dissolved)} for enough): {WATER_IN} the same evening."
        text = (
            f"{show.percent(chance.dissolved).capitalize()} chance that "
            f"{show.rain_band(low, high, units)} of rain dissolves it within {chance.window_h:g} h."
        )
        return text if task.lawn.irrigation == "none" else f"{text} If none has fallen by then, {WATER_IN}."
    return ""
