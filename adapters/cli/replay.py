"""`ligule replay`: what each policy would have done over a record of observed hours."""

import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import click
import numpy as np

from adapters.cli import as_json
from adapters.cli.context import Context, Ended, pass_context, plain_errors
from adapters.cli.decisions import JSON
from adapters.cli.layout import columns, wrap
from adapters.cli.observed_hours import Record, read_record, workable
from config.defaults import defaults
from config.models import Product, Risk
from config.resolve import accepted_risk, product_limits
from scheduler.verify.replay import POLICIES, Outcome, Replay, Terms
from scheduler.verify.replay import replay as play
from scheduler.verify.simulate import Skill

REPEAT_DAYS = 28


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--skill", type=click.Choice(["high", "low", "perfect"]), default="low", show_default=True,
    help="Of the simulated forecast. Promise yourself no more than `low` gives.",
)  # fmt: skip
@click.option(
    "--product", "product_ids", metavar="ID", multiple=True,
    help="Replay by the estate's own product, risk and costs; once for a liquid, once for a granular one.",
)  # fmt: skip
@click.option("--hour", type=click.IntRange(0, 23), default=9, show_default=True, help="Hour of the work, as in FILE.")
@click.option("--months", default="3-11", show_default=True, help="Months of the season, as 3-11 or 9-4.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Of the simulated forecast.")
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), help="Also draw it (.png or .svg).")
@JSON
@pass_context
@plain_errors
def replay(
    context: Context,
    file: Path,
    skill: str,
    product_ids: tuple[str, ...],
    hour: int,
    months: str,
    seed: int,
    picture: Path | None,
    as_json_: bool,
) -> None:
    """A record replayed: calendar, one forecast run, Ligule and foreknowledge.

    FILE is CSV, plain or gzip, hour by hour: time, rain_mm, and if at hand temperature_c, humidity_pct, wind_m_s. Times
    are the place's standard time, or carry an offset. The forecast is simulated over what was observed.
    """
    if picture:
        from adapters.cli.pictures import check_picture

        check_picture(picture)
    products = [context.product(name) for name in product_ids]
    terms, risk = _terms(context, products, hour, _months(months))
    record = read_record(file)
    days = max(1, (len(record.rain) - terms.leads) // 24)
    with click.progressbar(length=days, label="Replaying", hidden=not sys.stderr.isatty(), file=sys.stderr) as bar:
        try:
            told = play(
                record.rain, record.times, cast(Skill, skill), np.random.default_rng(seed), terms,
                workable(record, products), bar.update,
            )  # fmt: skip
        except ValueError as error:
            raise Ended(f"{file.name}: {error}") from None
    if picture:
        from adapters.cli.pictures import draw_replay

        draw_replay(picture, told, record.rain, record.times, _repeat_days(products))
    if as_json_:
        as_json.show(_answer(told, record, terms, skill, seed, risk))
        return
    click.echo(_text(told, record, terms, skill, risk, file.name))
    if picture:
        click.echo(f"Written: {picture}")


def _months(text: str) -> tuple[int, ...]:
    """3-11 as (3, ..., 11); 9-4 goes over the turn of the year."""
    first, dash, last = text.partition("-")
    if not (first.isdecimal() and last.isdecimal() and dash and 1 <= int(first) <= 12 and 1 <= int(last) <= 12):
        raise Ended(f"--months: found {text!r}, allowed: two months from 1 to 12, as 3-11")
    count = (int(last) - int(first)) % 12 + 1
    return tuple((int(first) - 1 + k) % 12 + 1 for k in range(count))


def _terms(context: Context, products: list[Product], hour: int, months: tuple[int, ...]) -> tuple[Terms, Risk | None]:
    """The terms of the replay: shipped ones, with the estate's own product and risk where asked for."""
    terms = Terms(hour=hour, months=months, accepted_risk=defaults("forecast")["risk"].number)
    if not products:
        return terms, None
    forms = [product.form for product in products]
    if "combined" in forms or len(set(forms)) < len(forms):
        raise Ended(f"--product: found {', '.join(forms)}; allowed: one liquid and one granular product at most")
    for product in products:
        limits = product_limits(product)
        first, last = product.every_days or (0, 14)
        if product.form == "liquid" and limits.dry_for_h is not None:
            terms = replace(
                terms, liquid_hold_days=last - first, dry_for_h=limits.dry_for_h.number, wet_mm=limits.wet_mm.number
            )
        elif limits.dissolve_h and limits.rain_band_mm and limits.heavy_mm_h and limits.heavy_mm_24h:
            low, high = limits.rain_band_mm.value
            terms = replace(
                terms, granular_early_days=0, granular_hold_days=last - first, dissolve_h=limits.dissolve_h.number,
                band_mm=(float(low), float(high)), heavy_mm_h=limits.heavy_mm_h.number,
                heavy_mm_24h=limits.heavy_mm_24h.number,
            )  # fmt: skip
    return replace(terms, accepted_risk=accepted_risk(context.estate).number), context.estate.risk


def _repeat_days(products: list[Product]) -> int:
    """Days between two liquids, for the picture."""
    for product in products:
        if product.form == "liquid" and product.every_days:
            return product.every_days[0]
    return REPEAT_DAYS


def _plain(value: float, digits: int = 4) -> float | None:
    return None if math.isnan(value) else round(value, digits)


def _told(outcome: Outcome, main: str, risk: Risk | None) -> dict[str, Any]:
    """One policy: each rate with its bounds; `low` and `high` are those of the main rate."""
    answer: dict[str, Any] = {}
    for name, rate in outcome.rates.items():
        answer |= {name: _plain(rate.value), f"{name}_low": _plain(rate.low), f"{name}_high": _plain(rate.high)}
    answer |= {"low": answer[f"{main}_low"], "high": answer[f"{main}_high"], "delay_d": _plain(outcome.delay_d, 3)}
    cost = cost_of(outcome, risk)
    return answer if cost is None else {**answer, "cost_per_application": _plain(cost)}


def cost_of(outcome: Outcome, risk: Risk | None) -> float | None:
    """Money a liquid application cost on average by the estate's own two costs; None where they are not stated."""
    if risk is None or risk.cost_of_waiting is None or risk.loss_if_washed_off is None:
        return None
    if "washed_off" not in outcome.rates:
        return None
    return outcome.rates["washed_off"].value * risk.loss_if_washed_off + outcome.delay_d * risk.cost_of_waiting


def _answer(told: Replay, record: Record, terms: Terms, skill: str, seed: int, risk: Risk | None) -> dict[str, Any]:
    return {
        "n": told.n,
        "from": str(record.times[0])[:10],
        "to": str(record.times[-1])[:10],
        "hours": len(record.rain),
        "missing_hours": int(np.isnan(record.rain).sum()),
        "forecast_skill": skill,
        "seed": seed,
        "liquid": {name: _told(told.liquid[name], "washed_off", risk) for name in POLICIES},
        "granular": {name: _told(told.granular[name], "success", None) for name in POLICIES},
        "skill": {f"lead_{k}_brier": _plain(value, 5) for k, value in enumerate(told.brier_by_lead)},
        "bounds": f"95 %, bootstrap by {told.blocks}",
        "weather": ["rain_mm", *record.other],
        "settings": {
            "hour": terms.hour, "months": list(terms.months), "dry_for_h": terms.dry_for_h, "wet_mm": terms.wet_mm,
            "accepted_risk": terms.accepted_risk, "liquid_hold_days": terms.liquid_hold_days,
            "dissolve_h": terms.dissolve_h, "rain_band_mm": list(terms.band_mm), "heavy_mm_h": terms.heavy_mm_h,
            "heavy_mm_24h": terms.heavy_mm_24h, "granular_early_days": terms.granular_early_days,
            "granular_hold_days": terms.granular_hold_days,
        },
    }  # fmt: skip


LABELS = {
    "calendar": "on the calendar's day", "one_run": "by one forecast run", "ligule": "Ligule",
    "ligule_one_run": "Ligule, from one run", "clairvoyant": "knowing what comes",
}  # fmt: skip


def _text(told: Replay, record: Record, terms: Terms, skill: str, risk: Risk | None, name: str) -> str:
    def share(outcome: Outcome, rate: str) -> str:
        r = outcome.rates[rate]
        return "-" if math.isnan(r.value) else f"{r.value:.1%} ({r.low:.1%} to {r.high:.1%})"

    days = f"{str(record.times[0])[:10]} to {str(record.times[-1])[:10]}"
    head = (
        f"{name}: {days}, {told.n} due dates, forecast of {skill} skill simulated over what was observed. "
        f"Bounds: 95 %, bootstrap by {told.blocks}. Delay in days from the due date."
    )
    liquid = [("", "washed off", "delay")]
    liquid += [(LABELS[k], share(told.liquid[k], "washed_off"), f"{told.liquid[k].delay_d:.2f}") for k in POLICIES]
    granular = [("", "dissolved as wanted", "too dry", "too heavy", "delay")]
    for k in POLICIES:
        o = told.granular[k]
        dry, heavy = (f"{o.rates[rate].value:.0%}" for rate in ("too_dry", "too_heavy"))
        granular.append((LABELS[k], share(o, "success"), dry, heavy, f"{o.delay_d:.1f}"))
    low, high = terms.band_mm
    parts = [
        wrap(head),
        wrap(f"Liquid: at least {terms.wet_mm:g} mm within {terms.dry_for_h:g} h washes it off; held while "
             f"the chance is above {terms.accepted_risk:.0%}, at most {terms.liquid_hold_days} days."),
        columns(liquid, right=(2,)),
        wrap(f"Granules: {low:g} to {high:g} mm within {terms.dissolve_h:g} h; from {terms.granular_early_days} "
             f"days before the due day to {terms.granular_hold_days} after it."),
        columns(granular, right=(2, 3, 4)),
    ]  # fmt: skip
    money = {k: cost_of(told.liquid[k], risk) for k in ("calendar", "ligule")}
    if money["calendar"] is not None and money["ligule"] is not None:
        saved = money["calendar"] - money["ligule"]
        parts.append(wrap(f"By your own costs a liquid application cost {money['calendar']:.2f} on the calendar's "
                          f"day and {money['ligule']:.2f} with Ligule: {saved:.2f} saved each time."))  # fmt: skip
    return "\n\n".join(parts)
