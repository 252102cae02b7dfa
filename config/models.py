"""What a user declares: the frozen models of an estate folder.

Every field carries its unit in its name. Models check one value at a time; rules across fields and files
(ids that must exist, swapped coordinates) live in config.check, so that every mistake is reported in one run.
"""

from collections.abc import Callable
from datetime import date, time
from functools import cached_property
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field

Form = Literal["liquid", "granular", "combined"]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Provider = Literal["met-norway", "nws", "bright-sky", "open-meteo"]
Soil = Literal[
    "sand", "loamy-sand", "sandy-loam", "loam", "silt-loam", "silty-clay-loam", "clay-loam", "silty-clay", "clay"
]
Species = Literal[
    "cool-mixed",
    "kentucky-bluegrass",
    "perennial-ryegrass",
    "tall-fescue",
    "fine-fescue",
    "bentgrass",
    "warm-mixed",
    "bermudagrass",
    "zoysiagrass",
    "st-augustinegrass",
    "centipedegrass",
    "bahiagrass",
    "buffalograss",
]
Ingredient = Literal["ammonium", "calcium", "iron", "lime", "magnesium", "phosphate", "sulphate"]
Ident = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]{0,63}$")]
MonthDay = Annotated[str, Field(pattern=r"^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$")]
Range = tuple[float, float]
MeanC = Annotated[float, Field(ge=-60, le=50)]
TwelveC = tuple[MeanC, MeanC, MeanC, MeanC, MeanC, MeanC, MeanC, MeanC, MeanC, MeanC, MeanC, MeanC]


class Part(BaseModel):
    """Base of every declared part: frozen, closed to unknown keys, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


class Feed(Part):
    """Which forecast feeds are asked, in order of trust."""

    order: tuple[Provider, ...] = ("met-norway",)
    contact: str = ""
    non_commercial: bool = False
    oldest_h: Annotated[float, Field(ge=1, le=14)] | None = None  # h since issue that may lead to a go; 6 if not set
    urls: dict[Provider, str] = {}
    ensemble: Annotated[str, Field(pattern=r"^[a-z0-9_]{1,60}$")] | None = None  # model of open-meteo's ensemble host


class Hours(Part):
    """Working hours in the lawn's local time."""

    start: time = time(7)
    end: time = time(18)
    days: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat")


class Risk(Part):
    """The risk of a washed-off liquid that is accepted: a chance, or two costs in one currency.

    With both costs the accepted chance is cost_of_waiting / loss_if_washed_off (Murphy 1977, cost-loss ratio).
    """

    washed_off: Annotated[float, Field(gt=0, lt=1)] | None = None
    cost_of_waiting: Annotated[float, Field(gt=0)] | None = None
    loss_if_washed_off: Annotated[float, Field(gt=0)] | None = None


class Person(Part):
    """Somebody who is told: which lawns, where (Apprise URLs, secrets as ${NAME}), and when (lawn-local wall time)."""

    id: Ident
    name: Annotated[str, Field(min_length=1, max_length=80)]
    reach: tuple[str, ...] = ()
    brief_at: time | None = None
    quiet: tuple[time, time] | None = None
    lawns: tuple[str, ...] = ()
    rounds: tuple[str, ...] = ()
    role: Literal["keeper", "crew", "office", "client"] = "keeper"
    timezone: str | None = None


class Rules(Part):
    """Local rules: shipped packs by name, and the estate's own."""

    packs: tuple[str, ...] = ()
    user: Literal["ordinary", "professional"] = "ordinary"
    single_n_g_m2: Annotated[float, Field(gt=0)] | None = None
    single_soluble_n_g_m2: Annotated[float, Field(gt=0)] | None = None
    year_n_g_m2: Annotated[float, Field(gt=0)] | None = None
    year_p2o5_g_m2: Annotated[float, Field(ge=0)] | None = None
    closed: tuple[tuple[MonthDay, MonthDay], ...] = ()
    water_min_m: Annotated[float, Field(ge=0)] | None = None


class Lawn(Part):
    """One lawn. `area_m2` is always filled once loaded (given, or measured from `outline`)."""

    id: Ident
    name: Annotated[str, Field(min_length=1, max_length=80)]
    latitude: Annotated[float, Field(ge=-90, le=90)]
    longitude: Annotated[float, Field(ge=-180, le=180)]
    area_m2: Annotated[float, Field(gt=0, le=10_000_000)]
    outline: str | None = None
    timezone: str | None = None
    grass: Literal["cool", "warm"] = "cool"
    species: Species | None = None
    soil: Soil | None = None
    soil_test_on: date | None = None
    soil_test_p: Literal["low", "medium", "high", "very-high"] | None = None
    programme: str | None = None
    round: str | None = None
    client: str | None = None
    irrigation: Literal["none", "hose", "system"] = "none"
    hard_edges: bool = False
    children_or_pets: bool = False
    sown_on: date | None = None
    slope_deg: Annotated[float, Field(ge=0, le=60)] | None = None
    water_within_m: Annotated[float, Field(ge=0)] | None = None
    visit_min: Annotated[float, Field(gt=0)] | None = None
    notes: str = ""


class ProductWeather(Part):
    """Weather a product asks for; None means the shipped default of its form (config/reference/defaults.toml)."""

    dry_for_h: Annotated[float, Field(gt=0, le=72)] | None = None
    wet_mm: Annotated[float, Field(gt=0, le=20)] | None = None
    rain_band_mm: Range | None = None
    dissolve_h: Annotated[float, Field(gt=0, le=96)] | None = None
    heavy_mm_h: Annotated[float, Field(gt=0)] | None = None
    heavy_mm_24h: Annotated[float, Field(gt=0)] | None = None
    wind_m_s: Range | None = None
    wind_height_m: Annotated[float, Field(gt=0, le=20)] | None = None
    temperature_c: Range | None = None
    delta_t_c: Range | None = None
    leaf: Literal["dry", "damp", "any"] | None = None


class ProductLabel(Part):
    """What the label says beyond rate and weather. The label and local law stand above the tool."""

    keep_off: Literal["until-dry", "until-dissolved"] | Annotated[float, Field(gt=0)] | None = None
    stains_hard_surfaces: bool = False
    mow_gap_days: tuple[Annotated[int, Field(ge=0)], Annotated[int, Field(ge=0)]] = (0, 0)
    sowing_gap_days: Annotated[int, Field(ge=0)] = 0
    registration: str = ""
    cautions: tuple[str, ...] = ()


class Product(Part):
    """One product sheet, typed from the label."""

    id: Ident
    name: Annotated[str, Field(min_length=1, max_length=80)]
    form: Form
    analysis: Annotated[str, Field(pattern=r"^\d+(\.\d+)?-\d+(\.\d+)?-\d+(\.\d+)?$")] = "0-0-0"
    basis: Literal["w/w", "w/v"] = "w/w"
    density_kg_l: Annotated[float, Field(gt=0.5, lt=3)] | None = None
    iron_pct: Annotated[float, Field(ge=0, le=100)] = 0.0
    slow_n_pct: Annotated[float, Field(ge=0, le=100)] = 0.0
    rate_ml_m2: Annotated[float, Field(gt=0)] | None = None
    rate_g_m2: Annotated[float, Field(gt=0)] | None = None
    water_ml_m2: Annotated[float, Field(gt=0)] | None = None
    every_days: tuple[Annotated[int, Field(ge=1)], Annotated[int, Field(ge=1)]] | None = None
    most_per_year: Annotated[int, Field(ge=1)] | None = None
    contains: tuple[Ingredient, ...] = ()
    price_per_kg_or_l: Annotated[float, Field(ge=0)] | None = None  # in the user's own currency
    weather: ProductWeather = ProductWeather()
    label: ProductLabel = ProductLabel()

    @property
    def npk_pct(self) -> tuple[float, float, float]:
        """The analysis as numbers: % N, % P2O5, % K2O."""
        n, p, k = (float(x) for x in self.analysis.split("-"))
        return n, p, k


class Step(Part):
    """One step of a programme: a product, its season (month-day, inclusive) and its repeat."""

    product: str
    from_: Annotated[MonthDay, Field(alias="from")]
    to: MonthDay
    every_days: tuple[Annotated[int, Field(ge=1)], Annotated[int, Field(ge=1)]] | None = None


class Programme(Part):
    """A season of steps. Dates move six months for lawns on the other hemisphere."""

    id: Ident
    name: str = ""
    hemisphere: Literal["north", "south"] = "north"
    steps: Annotated[tuple[Step, ...], Field(min_length=1)]


N = TypeVar("N", Lawn, Product, Programme)


class Estate(Part):
    """All that one user looks after, loaded and checked."""

    name: Annotated[str, Field(min_length=1, max_length=80)]
    timezone: str = "UTC"
    units: Literal["metric", "us"] = "metric"
    tank_l: Annotated[float, Field(gt=0)] = 15.0
    monthly_mean_c: TwelveC | None = None  # mean air temperature of the place, January to December
    feed: Feed = Feed()
    hours: Hours = Hours()
    risk: Risk = Risk()
    people: tuple[Person, ...] = ()
    rules: Rules = Rules()
    lawns: tuple[Lawn, ...] = ()
    products: tuple[Product, ...] = ()
    programmes: tuple[Programme, ...] = ()

    def lawn(self, lawn_id: str) -> Lawn:
        """The lawn of that id; KeyError if there is none."""
        return self._by_id(self.lawns)[lawn_id]

    def product(self, product_id: str) -> Product:
        """The product of that id; KeyError if there is none."""
        return self._by_id(self.products)[product_id]

    def programme(self, programme_id: str) -> Programme:
        """The programme of that id; KeyError if there is none."""
        return self._by_id(self.programmes)[programme_id]

    def zone_of(self, lawn: Lawn) -> str:
        """IANA zone name of a lawn."""
        return lawn.timezone or self.timezone

    def lawns_of(self, person: Person) -> tuple[Lawn, ...]:
        """The lawns a person looks after: by id, `*` for all, or by round."""
        if "*" in person.lawns:
            return self.lawns
        by_round: dict[str | None, list[int]] = self._kept("rounds", self.lawns, _by_round)
        order: dict[str, int] = self._kept("order", self.lawns, lambda lawns: {x.id: i for i, x in enumerate(lawns)})
        found = {order[lawn_id] for lawn_id in person.lawns if lawn_id in order}
        found.update(i for name in person.rounds if name for i in by_round.get(name, ()))
        return tuple(self.lawns[i] for i in sorted(found))

    def _by_id(self, parts: tuple[N, ...]) -> dict[str, N]:
        """Id -> part."""
        made: dict[str, N] = self._kept("ids", parts, lambda parts: {part.id: part for part in parts})
        return made

    def _kept(self, name: str, parts: tuple[Any, ...], make: Callable[[tuple[Any, ...]], Any]) -> Any:
        """What `make` makes of a tuple, made once. A copy of the estate with another tuple gets its own."""
        key = (name, id(parts))
        if key not in self._indexes or self._indexes[key][0] is not parts:
            self._indexes[key] = (parts, make(parts))
        return self._indexes[key][1]

    @cached_property
    def _indexes(self) -> dict[tuple[str, int], tuple[Any, Any]]:
        return {}


def _by_round(lawns: tuple[Lawn, ...]) -> dict[str | None, list[int]]:
    """Round -> the places of its lawns in the tuple."""
    found: dict[str | None, list[int]] = {}
    for i, lawn in enumerate(lawns):
        found.setdefault(lawn.round, []).append(i)
    return found
