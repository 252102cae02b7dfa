"""`ligule suggest`: a feeding programme drafted from the facts of a lawn, as a letter or as JSON."""

from datetime import datetime
from pathlib import Path
from typing import Any

import click

from adapters.cli import as_json
from adapters.cli.context import INSTANT, Context, Ended, pass_context, plain_errors
from adapters.cli.decisions import JSON
from scheduler.agronomy.nutrients import sheet_rate
from scheduler.messages.letter import letter
from scheduler.messages.letter_words import limit_words, reason, why_not
from scheduler.season.suggest import suggest as draft
from scheduler.season.suggest_toml import products_toml, programme_id, programme_toml
from scheduler.season.suggest_values import Stage, Starter, Suggestion, Target, Wishes


@click.command()
@click.argument("lawn_id", metavar="LAWN")
@click.option("--use", type=click.Choice(["ornamental", "family", "sport"]), default="family", show_default=True)
@click.option(
    "--effort", type=click.Choice(["few", "monthly", "weekly"]), default="monthly", show_default=True,
    help="The visits you will give it.",
)  # fmt: skip
@click.option("--moss", is_flag=True, help="There is moss.")
@click.option(
    "--weeds", type=click.Choice(["none", "small", "large"]), default="none", show_default=True,
    help="Small and common, or large and established.",
)  # fmt: skip
@click.option(
    "--clippings", type=click.Choice(["returned", "removed"]), default="returned", show_default=True,
    help="Whether they stay on the lawn.",
)  # fmt: skip
@click.option("--n-g-m2", type=click.FloatRange(0, 60, min_open=True), help="Fix the year's nitrogen, in g/m².")
@click.option("--year", type=click.IntRange(1970, 2200), help="Season that begins in this year; the next if left out.")
@click.option("--now", type=INSTANT, help="Draft as of this instant (ISO 8601 with offset).")
@click.option("--write", type=click.Path(path_type=Path, dir_okay=False), help="Also write the TOML to a new file.")
@JSON
@pass_context
@plain_errors
def suggest(
    context: Context, lawn_id: str, year: int | None, now: datetime | None, write: Path | None, as_json_: bool,
    **wishes: Any,
) -> None:  # fmt: skip
    """Draft a programme for a lawn: what, when, how much, and what better not."""
    lawn = context.lawn(lawn_id)
    today = context.local_date(lawn, context.now(now))
    told = draft(context.estate, lawn, Wishes(**wishes), today, year)
    written = write_toml(context, told, write) if write is not None else []
    if as_json_:
        as_json.show(answer(context, told) | {"written": [str(path) for path in written]})
        return
    click.echo(letter(context.estate, told), nl=False)
    for path, name in zip(written, ("programmes.toml", "products.toml"), strict=False):
        click.echo(f"\nWritten: {path} (its lines belong into {name})")


def write_toml(context: Context, told: Suggestion, path: Path) -> list[Path]:
    """Write the programme to a new file, and the generic sheets it needs to another beside it. Never overwrites."""
    texts = {path: programme_toml(context.estate, told)}
    if not texts[path]:
        raise Ended(f"--write: there is no programme to write for {told.lawn.id}; see why without --write")
    if products := products_toml(told):
        texts[path.with_name(f"{path.stem}.products{path.suffix or '.toml'}")] = products
    for target in texts:
        if target.exists() or target.is_symlink():
            raise Ended(f"--write: {target} is there already; allowed: the name of a new file")
    for target, text in texts.items():
        try:
            with target.open("x", encoding="utf-8") as file:
                file.write(text)
        except OSError as error:
            raise Ended(f"--write: {target}: {error.strerror or error}; allowed: a new file in a folder") from None
    return list(texts)


def answer(context: Context, told: Suggestion) -> dict[str, Any]:
    """The draft as JSON. Months run from January to December; `dates` are the earliest days, as month-days."""
    estate, wishes = context.estate, told.wishes
    cost = told.cost()
    return {
        "estate": estate.name,
        "lawn": told.lawn.id,
        "season": told.year,
        "hemisphere": "south" if told.southern else "north",
        "use": wishes.use,
        "effort": wishes.effort,
        "climate": {
            "monthly_mean_c": list(told.climate.monthly_mean_c),
            "assumed": told.climate.assumed,
            "source": told.climate.source,
        },
        "growth_potential": _rounded(told.growth),
        "n_by_growth_g_m2": _rounded(told.n_by_growth_g_m2),
        "n_by_month_g_m2": _rounded(told.n_by_month_g_m2),
        "target": _target(told.target),
        "steps": [_step(told, stage) for stage in told.stages],
        "total": as_json.dose(told.total),
        "cost": None if cost is None else {"sum": round(cost[0], 2), "without": [p.id for p in cost[1]]},
        "against": [{"about": x.about, "advice": x.advice, "source": x.source} for x in told.against],
        "passed_over": [
            {"product": x.product.id, "reason": x.reason, "text": why_not(x, estate.units), "fits_at": x.fits_at}
            for x in told.passed_over
        ],
        "starter": _starter(told.starter, estate.units),
        "keep_from_water_m": told.keep_from_water_m,
        "no_season": told.no_season or None,
        "programme": programme_id(estate, told) if told.stages else None,
        "programmes_toml": programme_toml(estate, told),
        "products_toml": products_toml(told),
    }


def _rounded(values: tuple[float, ...]) -> list[float]:
    return [round(value, 4) for value in values]


def _target(target: Target) -> dict[str, Any]:
    return {
        "n_g_m2": round(target.wanted, 4),
        "published_g_m2": [target.low, target.high],
        "source": target.source,
        "fixed": target.fixed,
        "cap_g_m2": target.cap,
        "cap_source": target.cap_source or None,
    }


def _step(told: Suggestion, stage: Stage) -> dict[str, Any]:
    rate, unit = sheet_rate(stage.product)
    price = stage.product.price_per_kg_or_l
    amount = told.amount(stage)
    return {
        "role": stage.role,
        "product": stage.product.id,
        "name": stage.product.name,
        "form": stage.product.form,
        "own": stage.own,
        "from": stage.first,
        "to": stage.last,
        "every_days": stage.every_days,
        "times": len(stage.dates),
        "dates": list(stage.dates),
        f"rate_{'ml' if unit == 'ml/m2' else 'g'}_m2": rate,
        "each": as_json.dose(stage.dose),
        "total": as_json.dose(stage.total),
        f"product_{'ml' if unit == 'ml/m2' else 'g'}": round(amount, 3),
        "cost": None if price is None else round(amount / 1000 * price, 2),
        "reason": reason(told, stage),
    }


def _starter(starter: Starter | None, units: str) -> dict[str, Any] | None:
    if starter is None:
        return None
    forbidden = None if starter.forbidden is None else limit_words(starter.forbidden, units)
    return {"product": starter.product.id, "on": starter.on.isoformat(), "forbidden": forbidden}
