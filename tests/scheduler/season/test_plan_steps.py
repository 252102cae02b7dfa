"""A product that stands in several steps is planned through all of them, at the rhythm of each."""

from datetime import date
from pathlib import Path

from scheduler.season.plan import season_plan
from tests.builders import build_estate, lawn, liquid


def test_every_step_of_a_product_is_planned_at_its_own_rhythm(tmp_path: Path) -> None:
    steps = [
        {"product": "leaf-feed", "from": "04-01", "to": "04-30", "every_days": [20, 22]},
        {"product": "leaf-feed", "from": "05-01", "to": "06-30", "every_days": [10, 11]},
        {"product": "leaf-feed", "from": "09-01", "to": "09-20", "every_days": [30, 40]},
    ]
    estate = build_estate(tmp_path, lawns=[lawn(programme="p")], products=[liquid(most_per_year=None)],
                          programmes=[{"id": "p", "steps": steps}])  # fmt: skip
    plan, total = season_plan(estate, estate.lawns[0], 2027, [], date(2027, 1, 10))
    days = [item.due.target for item in plan if item.due is not None]
    assert [sum(day.month == month for day in days) for month in (4, 5, 6, 9)] == [
        2,
        4,
        3,
        1,
    ]  # 1, 21; 1, 11, 21, 31; 10, 20, 30; 1
    gaps = [(later - day).days for day, later in zip(days, days[1:], strict=False)]
    assert all(gap >= 10 for gap in gaps)  # never nearer than the step of the day allows
    assert total.n == sum(item.dose.n for item in plan)
