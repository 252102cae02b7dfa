"""`ligule plan` and `ligule mix`: the season's dates, and what to measure out."""

from datetime import datetime
from pathlib import Path

import click

from adapters.cli import as_json
from adapters.cli.calendar import write_calendar
from adapters.cli.context import INSTANT, Context, Ended, pass_context, plain_errors
from adapters.cli.decisions import JSON, entries_of
from adapters.cli.layout import columns, wrap
from config.models import Lawn
from scheduler.agronomy.mixing import Fill, Mix, job_for
from scheduler.agronomy.mixing import mix as measure
from scheduler.agronomy.nutrients import Nutrients, spray_strength_pct
from scheduler.messages import show
from scheduler.season.plan import Planned, season_plan


@click.command()
@click.argument("lawn_id", metavar="[LAWN]", required=False)
@click.option("--year", type=click.IntRange(1970, 2200), help="Year of the plan; this one if left out.")
@click.option("--now", type=INSTANT, help="Plan from this instant (ISO 8601 with offset).")
@click.option("--ics", type=click.Path(path_type=Path, dir_okay=False), help="Also write the plan as iCalendar.")
@JSON
@pass_context
@plain_errors
def plan(
    context: Context, lawn_id: str | None, year: int | None, now: datetime | None, ics: Path | None, as_json_: bool
) -> None:
    """The season plan: done, due and coming, with the nutrient totals."""
    at = context.now(now)
    lawns = [context.lawn(lawn_id)] if lawn_id else list(context.estate.lawns)
    with context.store() as store:
        entries = entries_of(store)
    plans = []
    for lawn in lawns:
        today = context.local_date(lawn, at)
        wanted = year or today.year
        plans.append((lawn, wanted, *season_plan(context.estate, lawn, wanted, entries, today)))
    if ics:
        write_calendar(ics, context.estate, [(lawn, items) for lawn, _, items, _ in plans], at)
    if as_json_:
        as_json.show({"now": as_json.instant(at), "estate": context.estate.name, "plans": [
            {"lawn": lawn.id, "year": wanted, "applications": [as_json.planned(item) for item in items],
             "total": as_json.dose(total)} for lawn, wanted, items, total in plans]})  # fmt: skip
        return
    for lawn, wanted, items, total in plans:
        click.echo(_plan_text(lawn, wanted, items, total, context.estate.units))
    if ics:
        click.echo(f"Written: {ics}")


def _plan_text(lawn: Lawn, year: int, items: list[Planned], total: Nutrients, units: str) -> str:
    head = f"{lawn.name}, {year}"
    if not items:
        reason = "no programme" if lawn.programme is None else "nothing left to do this year"
        return f"{head}\n  {reason}\n"
    rows = [("", "product", "state", "window", "N")]
    for item in items:
        when = show.day(item.sort_date)
        window = "" if item.due is None else f"{show.day(item.due.earliest)} - {show.day(item.due.latest)}"
        rows.append((when, item.product.name, item.state, window, show.per_area(item.dose.n, units)))
    sums = f"Total: N {show.per_area(total.n, units)}, P2O5 {show.per_area(total.p2o5, units)}, "
    sums += f"K2O {show.per_area(total.k2o, units)}, Fe {show.per_area(total.fe, units)}"
    return f"{head}\n{columns(rows)}\n{wrap(sums)}\n"


@click.command()
@click.argument("product_id", metavar="PRODUCT")
@click.option("--area-m2", type=click.FloatRange(0, 1e7, min_open=True), required=True, help="Area to treat in m².")
@click.option("--tank-l", type=click.FloatRange(0.1, 1e5), help="Tank in litres; the estate's if left out.")
@JSON
@pass_context
@plain_errors
def mix(context: Context, product_id: str, area_m2: float, tank_l: float | None, as_json_: bool) -> None:
    """Product, water and tank fills for an area, and the nutrients it gives."""
    product = context.product(product_id)
    tank = tank_l if tank_l is not None else context.estate.tank_l
    try:
        told = measure(product, area_m2, tank)
    except ValueError as error:
        raise Ended(f"mix: {error}") from None
    strength = spray_strength_pct(product)
    if as_json_:
        key = "product_ml" if told.unit == "ml" else "product_g"
        as_json.show({
            "product": product.id, "area_m2": told.area_m2, key: round(told.product, 3), "water_l": told.spray_l,
            "water_added_l": told.water_l, "fills": job_for(product, area_m2, tank).fills,
            "full_fills": told.full_fills, "full": _fill(told.full, key), "part": _fill(told.part, key),
            "strength_pct_wv": strength, **as_json.dose(told.nutrients),
        })  # fmt: skip
        return
    click.echo(wrap(_mix_text(told, product.name, context.estate.units, strength)))


def _fill(fill: Fill | None, key: str) -> dict[str, float] | None:
    if fill is None:
        return None
    return {key: round(fill.product, 3), "spray_l": fill.spray_l, "water_l": round(fill.water_l, 3),
            "area_m2": round(fill.area_m2, 3)}  # fmt: skip


def _mix_text(told: Mix, name: str, units: str, strength: float | None) -> str:
    amount = show.volume if told.unit == "ml" else show.weight
    lines = [f"{name} on {show.area(told.area_m2, units)}: {amount(told.product, units)}"]
    if told.spray_l is not None and told.water_l is not None:
        spray, water = show.volume(told.spray_l * 1000, units), show.volume(told.water_l * 1000, units)
        lines.append(f"made up to {spray} (water {water})")
        for count, fill, word in ((told.full_fills, told.full, "full tank"), (1, told.part, "part fill")):
            if fill is not None and count:
                lines.append(
                    f"- {count} {word}{'s' if count > 1 else ''} of {show.volume(fill.spray_l * 1000, units)}: "
                    f"{amount(fill.product, units)} and {show.volume(fill.water_l * 1000, units)} water, "
                    f"for {show.area(fill.area_m2, units)}"
                )
    dose = told.nutrients
    lines.append(
        f"Gives N {show.per_area(dose.n, units)}, P2O5 {show.per_area(dose.p2o5, units)}, "
        f"K2O {show.per_area(dose.k2o, units)}, Fe {show.per_area(dose.fe, units)}"
    )
    if strength is not None:
        lines.append(f"Strength of the mix: {strength:.2g} % product, w/v")
    lines.append("The product label and local law come first.")
    return "\n".join(lines)
