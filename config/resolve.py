"""What holds for one product: its sheet's weather, filled up with the defaults of its form, each with its source."""

from dataclasses import dataclass
from functools import lru_cache

from config.defaults import Sourced, defaults
from config.models import Estate, Feed, Product


@dataclass(frozen=True)
class ProductLimits:
    """The weather limits of a product. A limit that neither the sheet nor the defaults set is None."""

    dry_for_h: Sourced | None
    wet_mm: Sourced
    rain_band_mm: Sourced | None
    dissolve_h: Sourced | None
    heavy_mm_h: Sourced | None
    heavy_mm_24h: Sourced | None
    wind_m_s: Sourced | None
    wind_height_m: Sourced
    temperature_c: Sourced | None
    delta_t_c: Sourced | None
    frost_c: Sourced | None
    leaf: Sourced


@lru_cache(maxsize=4096)
def product_limits(product: Product) -> ProductLimits:
    """The limits of `product`: the sheet's value where given, else the default of its form."""
    shipped = defaults(product.form)

    def pick(name: str) -> Sourced | None:
        stated = getattr(product.weather, name, None)
        if stated is not None:
            return Sourced(stated, f"products.toml {product.id} {name}")
        if name not in shipped:
            return None
        return Sourced(shipped[name].value, f"default ({product.form}): {shipped[name].source}")

    names = [name for name in ProductLimits.__dataclass_fields__ if name not in ("wet_mm", "wind_height_m", "leaf")]
    picked = {name: pick(name) for name in names}
    sure = {name: pick(name) or defaults(product.form)[name] for name in ("wet_mm", "wind_height_m", "leaf")}
    return ProductLimits(**picked, **sure)  # type: ignore[arg-type]


def oldest_forecast_h(feed: Feed) -> Sourced:
    """Hours since its issue up to which a forecast may lead to a go: the estate's own figure, or the shipped one."""
    if feed.oldest_h is not None:
        return Sourced(feed.oldest_h, "estate.toml [feed] oldest_h")
    return defaults("forecast")["oldest_h"]


def accepted_risk(estate: Estate) -> Sourced:
    """The largest accepted chance of a wash-off: stated, or cost of waiting over loss, or the shipped default."""
    risk = estate.risk
    if risk.washed_off is not None:
        return Sourced(risk.washed_off, "estate.toml [risk] washed_off")
    if risk.cost_of_waiting is not None and risk.loss_if_washed_off is not None:
        ratio = risk.cost_of_waiting / risk.loss_if_washed_off
        return Sourced(ratio, "estate.toml [risk] cost_of_waiting / loss_if_washed_off (Murphy 1977)")
    return defaults("forecast")["risk"]
