"""What a newcomer types at `ligule init`, as values; Ended says what was found and what is allowed."""

import re
import unicodedata
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from zoneinfo import available_timezones

from adapters.cli.context import Ended
from adapters.cli.measures import M2, quantity
from config.addresses import is_contact
from config.models import Form
from config.wording import known_text
from scheduler.agronomy import units as u

FORMS: tuple[Form, ...] = ("liquid", "granular", "combined")
ML_M2 = {
    "ml/m2": 1.0,
    "l/ha": 0.1,
    "fl oz/1000 ft2": u.ML_M2_PER_FL_OZ_1000FT2,
    "gal/1000 ft2": u.ML_M2_PER_GAL_1000FT2,
}
G_M2 = {
    "g/m2": 1.0, "kg/ha": 0.1, "lb/1000 ft2": u.G_M2_PER_LB_1000FT2, "oz/1000 ft2": u.G_M2_PER_OZ_1000FT2,
}  # fmt: skip
KG_L = {"kg/l": 1.0, "g/ml": 1.0, "lb/gal": u.KG_L_PER_LB_GAL}

# How often a form is given if the label does not say: common practice, to be put right from the label.
USUAL_DAYS: dict[str, tuple[int, int]] = {"liquid": (28, 42), "granular": (42, 63), "combined": (60, 90)}

SPEC = (
    "NAME; FORM; N-P-K; RATE, and for liquids: spray VOLUME; DENSITY, such as "
    '"Leaf Feed; liquid; 12-3-6; 3.5 ml/m2; spray 60 ml/m2; 1.18 kg/l; 0.5 % Fe; 7-14 days"'
)


@dataclass(frozen=True)
class Sheet:
    """A product as typed from its label. Without a density a liquid's analysis is by volume."""

    name: str
    form: Form
    analysis: str
    rate: float  # ml/m2 or g/m2
    spray_ml_m2: float | None = None
    density_kg_l: float | None = None
    iron_pct: float = 0.0
    days: tuple[int, int] | None = None

    @property
    def every_days(self) -> tuple[int, int]:
        """The repeat: the label's, else the usual one."""
        return self.days or USUAL_DAYS[self.form]


def place_in(text: str, option: str = "--place") -> tuple[float, float]:
    """Latitude and longitude in degrees."""
    match = re.fullmatch(
        r"\s*([+-]?\d{1,2}(?:\.\d+)?)\s*[,; ]\s*([+-]?\d{1,3}(?:\.\d+)?)\s*", text.replace("\u2212", "-")
    )
    latitude, longitude = (float(match[1]), float(match[2])) if match else (99.0, 0.0)
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise Ended(f'{option}: found {text!r}, allowed: latitude and longitude in degrees, such as "51.48, -0.62"')
    return latitude, longitude


def zone_in(text: str, option: str = "--timezone") -> str:
    """A time zone of the IANA list."""
    zone = text.strip()
    if zone not in available_timezones():
        raise Ended(
            f"{option}: found {text!r}, allowed: {known_text(zone, available_timezones(), 'an IANA time zone')}"
        )
    return zone


def area_in(text: str, units: str, option: str = "--area") -> float:
    """An area in m2; a bare number is in the unit people read."""
    bare = re.fullmatch(r"\s*[0-9.,]+\s*", text)
    return round(quantity(f"{text} {'ft2' if units == 'us' else 'm2'}" if bare else text, M2, option), 2)


def mail_in(text: str, option: str = "--mail") -> str:
    """An e-mail address."""
    mail = text.strip()
    if "@" not in mail or "://" in mail or not is_contact(mail):
        raise Ended(f"{option}: found {text!r}, allowed: an e-mail address such as wren@example.org")
    return mail


def name_in(text: str, option: str) -> str:
    """A name of up to 80 printable characters."""
    name = unicodedata.normalize("NFC", " ".join(text.split()))
    if not 0 < len(name) <= 80 or not name.isprintable():
        raise Ended(f"{option}: found {text!r}, allowed: 1 to 80 characters on one line")
    return name


def one_in(text: str, words: Sequence[str], option: str) -> str:
    """One of some words, or the beginning of one."""
    near = [word for word in words if text.strip() and word.startswith(text.strip().lower())]
    if len(near) != 1:
        raise Ended(f"{option}: found {text!r}, allowed: {', '.join(words)}")
    return near[0]


def analysis_in(text: str, option: str) -> str:
    """Label numbers, % N-P2O5-K2O."""
    plain = re.sub(r"\s+", "", text).replace(",", ".").replace("\u2013", "-")
    if not re.fullmatch(r"\d{1,3}(\.\d+)?(-\d{1,3}(\.\d+)?){2}", plain) or sum(map(float, plain.split("-"))) > 100:
        raise Ended(f'{option}: found {text!r}, allowed: % N-P2O5-K2O, such as "12-3-6"')
    return plain


def rate_in(text: str, form: Form, option: str) -> float:
    """A rate in ml/m2 (liquids) or g/m2."""
    return _trimmed(quantity(text, ML_M2 if form == "liquid" else G_M2, option))


def density_in(text: str, option: str) -> float:
    """Kilograms to a litre."""
    density = _trimmed(quantity(text, KG_L, option))
    if not 0.5 < density < 3:
        raise Ended(f"{option}: found {text!r}, allowed: above 0.5 and below 3 kg/l")
    return density


def days_in(text: str, option: str) -> tuple[int, int]:
    """Earliest and latest repeat in days."""
    match = re.fullmatch(r"\s*(\d{1,4})\s*(?:-|to|\u2013)\s*(\d{1,4})\s*(?:d|days)?\s*", text.lower())
    days = (int(match[1]), int(match[2])) if match else (0, 0)
    if not 1 <= days[0] <= days[1]:
        raise Ended(f'{option}: found {text!r}, allowed: earliest and latest repeat in days, such as "28-42"')
    return days


def percent_in(text: str, option: str) -> float:
    """A percentage."""
    match = re.fullmatch(r"\s*(\d{1,3}(?:[.,]\d+)?)\s*%?\s*(?:fe|iron)?\s*", text.lower())
    percent = float(match[1].replace(",", ".")) if match else 101.0
    if percent > 100:
        raise Ended(f"{option}: found {text!r}, allowed: 0 to 100 %")
    return percent


def sheet_in(text: str, option: str = "--product") -> Sheet:
    """A whole product in one text; see SPEC."""
    name, *parts = [part.strip() for part in text.split(";")]
    found: dict[str, str] = {}
    for part in parts:
        found.setdefault(_kind_of(part.lower(), option), part)
    if not {"form", "analysis", "rate"} <= set(found):
        raise Ended(f"{option}: found {text!r}, allowed: {SPEC}")
    form: Form = next(x for x in FORMS if x == one_in(found["form"], FORMS, option))
    if form == "liquid" and "spray" not in found:
        raise Ended(f"{option}: found no spray volume in {text!r}, allowed: {SPEC}")
    spray = found.get("spray")
    return Sheet(
        name_in(name, option),
        form,
        analysis_in(found["analysis"], option),
        rate_in(found["rate"], form, option),
        rate_in(spray[len("spray") :], "liquid", option) if spray and form == "liquid" else None,
        density_in(found["density"], option) if "density" in found else None,
        percent_in(found["iron"], option) if "iron" in found else 0.0,
        days_in(found["days"], option) if "days" in found else None,
    )


def _kind_of(part: str, option: str) -> str:
    kinds = {
        "form": "|".join(FORMS),
        "analysis": r"[\d.,]+\s*[-\u2013]\s*[\d.,]+\s*[-\u2013]\s*[\d.,]+",
        "spray": "spray .*",
        "density": r".*(kg/l|g/ml|lb/gal)",
        "iron": r".*%.*|.*(fe|iron)",
        "days": r"\d+\s*(-|to|\u2013)\s*\d+\s*(d|days)?",
        "rate": r"[\d.,]+\s*[a-z].*/.*",
    }
    for kind, pattern in kinds.items():
        if re.fullmatch(pattern, part):
            return kind
    raise Ended(f"{option}: found {part!r}, allowed: {SPEC}")


def _trimmed(value: float) -> float:
    """Six digits: a conversion leaves a tail that nobody typed."""
    return float(f"{value:.6g}")


def ident(name: str, taken: Collection[str], otherwise: str) -> str:
    """An id made of a name: small letters, digits and hyphens, not among those `taken`."""
    plain = unicodedata.normalize("NFKD", name.lower()).encode("ascii", "ignore").decode()
    base = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:56].strip("-") or otherwise
    tries = [base, *(f"{base}-{number}" for number in range(2, 1000))]
    return next(x for x in tries if x not in taken)
