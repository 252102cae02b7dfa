"""The plain values that travel from decision to message: everything here can be printed, stored and built in a test."""

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal, NamedTuple

from config.models import Form
from scheduler.weather.calibration import Calibrated
from scheduler.weather.forecast import Forecast

Verdict = Literal["go", "hold", "unknown"]
FeedState = Literal["fresh", "stale", "down"]


@dataclass(frozen=True)
class Entry:
    """One row of the ledger. A row is never changed or removed: `undone_at` marks one that was taken back."""

    lawn: str
    product: str
    at: datetime  # start of the work, UTC
    local_date: date  # date on the lawn
    kind: Literal["done", "skipped"] = "done"
    amount: float | None = None  # ml (liquids) or g (granules); None: the sheet's rate on the whole lawn
    by: str = ""
    note: str = ""
    id: int = 0
    undone_at: datetime | None = None
    end: datetime | None = None  # end of the work, UTC
    area_m2: float | None = None  # what was treated; None: the whole lawn
    water_l: float | None = None  # the finished spray mix
    batch: str = ""
    licence: str = ""  # number of the operator's licence or certificate
    equipment: str = ""
    calibrated_on: date | None = None
    reason: str = ""  # why it was done, or against what
    crop: str = ""  # crop or site code, where a record law asks for one
    temperature_c: float | None = None  # weather at the start of the work
    humidity_pct: float | None = None
    wind_m_s: float | None = None
    wind_from: str = ""  # compass point or degrees, as typed
    soil: str = ""
    weather_by: str = ""  # who says so: "measured", a feed's name, or both
    forecast_provider: str = ""  # the forecast that was known when the work began
    forecast_issued: datetime | None = None
    forecast_chance: float | None = None
    forecast_of: str = ""  # what that is the chance of
    buffer_m: float | None = None  # distance kept from water
    signs_posted: bool | None = None
    reentry_told: bool | None = None  # whether the people there were told when the lawn may be used again


class WeatherWarning(NamedTuple):
    """A watch, warning or advisory of the national weather service for a place, UTC."""

    event: str
    onset: datetime
    ends: datetime | None  # None: until it is taken back


@dataclass(frozen=True)
class CellWeather:
    """What is known of the weather of one forecast cell at `now`, and how far it can be trusted."""

    cell: str  # "51.50,-0.12"
    forecast: Forecast | None
    state: FeedState
    why: str = ""  # in words, when not fresh: what failed, how old
    warnings: tuple[WeatherWarning, ...] | None = None  # in force or to come; None: not asked for, or not known
    calibrations: tuple[Calibrated, ...] = ()  # what the place has taught about the chances of its feeds


@dataclass(frozen=True)
class Window:
    """Half-open [start, end), UTC. `best` is the best start inside it."""

    start: datetime
    end: datetime
    best: datetime | None = None
    indicative: bool = False  # rests on forecast hours that are not given hour by hour


@dataclass(frozen=True)
class Due:
    """When an application may, should and must at the latest be done (dates on the lawn)."""

    earliest: date
    target: date
    latest: date
    first: bool = False  # nothing recorded before it


@dataclass(frozen=True)
class Limit:
    """One limit at one hour: value, allowed range, whether it is kept (None: not known), who says so."""

    name: str
    value: float | None
    unit: str
    allowed: tuple[float | None, float | None]
    ok: bool | None
    source: str
    note: str = ""


@dataclass(frozen=True)
class Stretch:
    """A stretch of the working day, half-open, that one limit rules out."""

    start: datetime
    end: datetime
    limit: Limit


@dataclass(frozen=True)
class Chance:
    """Chances that decide, as fractions; None where a form has no such chance or the data are missing."""

    window_h: float
    method: str
    washed_off: float | None = None
    wet_mm: float | None = None
    dissolved: float | None = None
    too_dry: float | None = None
    too_heavy: float | None = None
    said: float | None = None  # `washed_off` as the feed says it, before the place's calibration
    calibrated_days: int = 0  # mornings behind the calibration; 0: there is none
    start: datetime | None = None  # the start hour that the chances are for, UTC


@dataclass(frozen=True)
class Job:
    """What to measure out for the lawn, and the nutrients it gives."""

    area_m2: float
    product_ml: float | None = None
    product_g: float | None = None
    water_l: float | None = None  # the finished spray mix, product included
    fills: float | None = None
    n_g_m2: float = 0.0
    p2o5_g_m2: float = 0.0
    k2o_g_m2: float = 0.0
    fe_g_m2: float = 0.0


@dataclass(frozen=True)
class Line:
    """The decision for one due application."""

    lawn: str
    lawn_name: str
    product: str
    product_name: str
    form: Form
    due: Due
    verdict: Verdict
    window: Window | None
    next_window: Window | None
    chance: Chance | None
    binding: str
    limits: tuple[Limit, ...]
    job: Job
    cautions: tuple[str, ...]
    text: str
    group: str = ""  # round, else empty
    why: str = ""  # the reason in a few words, for lists
    story: tuple[Stretch, ...] = ()  # what rules out the hours of today, in order
    better: tuple[date, float] | None = None  # a later day with likelier rain, and its chance


@dataclass(frozen=True)
class Brief:
    """Everything one person (or, with person None, the whole estate) is told for one morning."""

    estate: str
    person: str | None
    now: datetime
    local_date: date
    lines: tuple[Line, ...]
    cells: tuple[CellWeather, ...]
    coming: tuple[tuple[str, str, date], ...] = field(default=())  # (lawn name, product name, earliest), not yet due


@dataclass(frozen=True)
class Message:
    """A rendered message: plain text always, HTML for mail, and the PNG pictures that the HTML shows by `cid:`."""

    title: str
    text: str
    html: str
    pictures: tuple[tuple[str, bytes], ...] = ()  # (content id, PNG)
