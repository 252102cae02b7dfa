"""An invented estate of any size: lawns in forecast cells, a few product classes, one crew for each round and a few
clients. Everything follows from the numbers asked for; nothing is drawn at random.
"""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from config.models import Estate
from scheduler.values import Entry

NOW = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)  # a Monday, 06:00 in London
ROUND = 250  # lawns of one crew
CLIENT_EVERY = 100  # one lawn in so many has a client who is told as well
CELLS_IN_ROW = 40
STEP_DEG = 0.1  # between the centres of neighbouring cells

PRODUCTS: tuple[dict[str, Any], ...] = (
    {
        "id": "leaf-feed", "name": "Leaf Feed", "form": "liquid", "analysis": "12-3-6", "density_kg_l": 1.18,
        "iron_pct": 0.5, "rate_ml_m2": 3.5, "water_ml_m2": 60.0, "every_days": (7, 14), "most_per_year": 20,
        "weather": {"dry_for_h": 6.0, "wet_mm": 0.5}, "label": {"stains_hard_surfaces": True},
    },
    {
        "id": "iron-tonic", "name": "Iron Tonic", "form": "liquid", "analysis": "4-0-2", "density_kg_l": 1.25,
        "iron_pct": 6.0, "rate_ml_m2": 2.0, "water_ml_m2": 80.0, "every_days": (21, 35), "most_per_year": 8,
        "weather": {"dry_for_h": 3.0, "wet_mm": 1.0},
    },
    {
        "id": "spring-grain", "name": "Spring Grain", "form": "granular", "analysis": "20-5-8", "slow_n_pct": 50.0,
        "rate_g_m2": 25.0, "every_days": (42, 63), "most_per_year": 4, "label": {"sowing_gap_days": 40},
    },
    {
        "id": "three-in-one", "name": "Three in One", "form": "combined", "analysis": "14-2-4", "iron_pct": 6.0,
        "rate_g_m2": 35.0, "every_days": (60, 90), "most_per_year": 2,
    },
)  # fmt: skip
PROGRAMMES: tuple[dict[str, Any], ...] = (
    {
        "id": "full",
        "steps": (
            {"product": "spring-grain", "from": "03-01", "to": "09-30"},
            {"product": "leaf-feed", "from": "04-01", "to": "09-30"},
        ),
    },
    {
        "id": "green",
        "steps": (
            {"product": "iron-tonic", "from": "03-01", "to": "10-31"},
            {"product": "spring-grain", "from": "03-15", "to": "09-15"},
            {"product": "three-in-one", "from": "04-15", "to": "09-15"},
        ),
    },
    {"id": "lean", "steps": ({"product": "leaf-feed", "from": "04-01", "to": "09-30"},)},
)


def cell_centres(cells: int) -> list[tuple[float, float]]:
    """Latitude and longitude [degrees] of so many cells, on a grid."""
    places = (divmod(i, CELLS_IN_ROW) for i in range(cells))
    return [(round(51.0 + STEP_DEG * row, 2), round(-2.0 + STEP_DEG * column, 2)) for row, column in places]


def estate(lawns: int, cells: int, members: int) -> Estate:
    """The estate. Lawn i lies in cell i mod `cells`; rounds take in whole cells, as crews do."""
    centres = cell_centres(cells)
    rounds = max(1, lawns // ROUND)
    made = [_lawn(i, centres[i % cells], rounds * (i % cells) // cells) for i in range(lawns)]
    crews = [
        {"id": f"crew-{r}", "name": f"Crew {r}", "rounds": (f"round-{r}",), "reach": (f"${{CREW_{r}}}",)}
        for r in range(rounds)
    ]
    clients = [
        {"id": f"client-{i}", "name": f"Client {i}", "lawns": (f"lawn-{i}",), "reach": (f"${{CLIENT_{i}}}",),
         "role": "client"}
        for i in range(0, lawns, CLIENT_EVERY)
    ]  # fmt: skip
    return Estate.model_validate(
        {
            "name": "Bench Grounds",
            "timezone": "Europe/London",
            "feed": {
                "order": ("open-meteo",),
                "urls": {"open-meteo": "https://feed.example.org/v1/forecast"},
                "ensemble": "invented" if members else None,
            },
            "hours": {"start": "07:00", "end": "18:00"},
            "risk": {"washed_off": 0.15},
            "people": tuple({**person, "brief_at": "06:00"} for person in (*crews, *clients)),
            "lawns": tuple(made),
            "products": PRODUCTS,
            "programmes": PROGRAMMES,
        }
    )


def _lawn(i: int, centre: tuple[float, float], crew: int) -> dict[str, Any]:
    """One lawn, within 600 m of its cell's centre; what it is like follows from its number."""
    return {
        "id": f"lawn-{i}",
        "name": f"Lawn {i}, Sedge Rise",
        "latitude": centre[0] + (i % 7 - 3) * 0.002,
        "longitude": centre[1] + (i % 5 - 2) * 0.003,
        "area_m2": 60.0 + 7 * (i % 83),
        "programme": PROGRAMMES[i % 3]["id"],
        "round": f"round-{crew}",
        "irrigation": ("none", "hose", "none", "system")[i // 3 % 4],
        "hard_edges": i % 2 == 0,
        "children_or_pets": i % 5 == 0,
        "sown_on": date(2026, 4, 1) if i % 50 == 7 else None,
        "slope_deg": 15.0 if i % 20 == 3 else None,
        "water_within_m": (1.0, 12.0)[i % 2] if i % 25 == 4 else None,
    }


def ledger(of: Estate) -> list[Entry]:
    """What was done: each crew did its round within some days, one lawn in ten was done on another day."""
    products = {programme.id: [step.product for step in programme.steps] for programme in of.programmes}
    ago = {"leaf-feed": 9, "iron-tonic": 30, "spring-grain": 50, "three-in-one": 250}
    found = []
    for i, lawn in enumerate(of.lawns):
        crew = int((lawn.round or "0").split("-")[-1])
        for product in products[lawn.programme or ""]:
            days = ago[product] - crew % 5 + (3 + i // 10 % 4 if i % 10 == 9 else 0)
            at = NOW.replace(hour=9) - timedelta(days=days)
            found.append(Entry(lawn.id, product, at, at.date(), by=f"crew-{crew}"))
    return found
