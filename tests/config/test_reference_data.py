"""Reference data: complete, plausible, and each value with its source."""

import tomllib
from importlib.resources import files

import pytest
from pytest import approx

from config import reference_data as ref
from config.defaults import Sourced


@pytest.mark.parametrize("name", ["soils.toml", "grasses.toml", "crop_coefficients.toml"])
def test_every_value_has_a_source(name):
    def values(table):
        for entry in table.values():
            if isinstance(entry, dict):
                yield from [entry] if "value" in entry else values(entry)

    found = list(values(tomllib.loads((files("config") / "reference" / name).read_text("utf-8"))))
    assert found
    assert all(set(entry) == {"value", "source"} and len(entry["source"]) > 8 for entry in found)


def saxton_rawls(sand: float, clay: float, om: float = 2.5) -> tuple[float, float, float]:
    """Saxton & Rawls 2006, Soil Sci. Soc. Am. J. 70:1569, eq. 1-3 and 5: wilting, field capacity, saturation."""
    s, c = sand / 100, clay / 100
    w = -0.024 * s + 0.487 * c + 0.006 * om + 0.005 * s * om - 0.013 * c * om + 0.068 * s * c + 0.031
    w += 0.14 * w - 0.02
    f = -0.251 * s + 0.195 * c + 0.011 * om + 0.006 * s * om - 0.027 * c * om + 0.452 * s * c + 0.299
    f += 1.283 * f * f - 0.374 * f - 0.015
    d = 0.278 * s + 0.034 * c + 0.022 * om - 0.018 * s * om - 0.027 * c * om - 0.584 * s * c + 0.078
    d += 0.636 * d - 0.107
    return w, f, f + d - 0.097 * s + 0.043


@pytest.mark.parametrize("name", list(ref.soils()))
def test_soils_follow_the_published_regression(name):
    soil = ref.soils()[name]
    w, f, full = saxton_rawls(soil.sand_pct, soil.clay_pct)
    assert soil.wilting.number == approx(w, abs=6e-3)
    assert soil.field_capacity.number == approx(f, abs=6e-3)
    assert soil.saturation.number == approx(full, abs=6e-3)


def test_soils_lie_near_the_ranges_of_fao_56():
    # FAO-56 table 19 ranges (from memory): both tables are typical values, they may differ by a few hundredths
    ranges = {
        "sand": ((0.07, 0.17), (0.02, 0.07)),
        "loamy-sand": ((0.11, 0.19), (0.03, 0.10)),
        "sandy-loam": ((0.18, 0.28), (0.06, 0.16)),
        "loam": ((0.20, 0.30), (0.07, 0.17)),
        "silt-loam": ((0.22, 0.36), (0.09, 0.21)),
        "silty-clay-loam": ((0.30, 0.37), (0.17, 0.24)),
        "silty-clay": ((0.30, 0.42), (0.17, 0.29)),
        "clay": ((0.32, 0.40), (0.20, 0.24)),
    }
    for name, (capacity, wilting) in ranges.items():
        soil = ref.soils()[name]
        assert capacity[0] - 0.02 <= soil.field_capacity.number <= capacity[1] + 0.02
        assert wilting[0] - 0.02 <= soil.wilting.number <= wilting[1] + 0.06


def test_every_species_has_a_type_and_a_sensible_year():
    species = ref.grass_species()
    assert {s.type for s in species.values()} == {"cool", "warm"}
    for entry in species.values():
        low, high = entry.year_n_g_m2.value
        assert 4 < low < high < 30
    # Penn State (Landschoot): Kentucky bluegrass 3-4 lb N/1000 ft2 a year
    assert species["kentucky-bluegrass"].year_n_g_m2.value == approx([14.65, 19.53], abs=5e-3)
    # Woods 2023: bentgrass 2, bermudagrass 4 g/m2 a month
    months = {name: s.most_month_n_g_m2 for name, s in species.items() if s.most_month_n_g_m2}
    assert {name: most.number for name, most in months.items()} == {"bentgrass": 2, "bermudagrass": 4}


def test_grass_types_are_complete():
    for kind in ref.grass_types().values():
        fields = [getattr(kind, name) for name in kind.__dataclass_fields__ if name != "name"]
        assert all(isinstance(field, Sourced) for field in fields)


def test_crop_coefficients_have_twelve_months():
    assert len(ref.crop_coefficients("cool").value) == len(ref.crop_coefficients("warm").value) == 12
