"""Who is told to water, and who is not."""

from pathlib import Path

import pytest

from tests.scheduler.messages.test_brief_message import MIDNIGHT, estate_of, message
from tests.weather import mild


@pytest.mark.parametrize(("irrigation", "told"), [("none", False), ("hose", True)])
def test_only_a_lawn_that_can_be_watered_is_told_to(tmp_path: Path, irrigation: str, told: bool) -> None:
    estate = estate_of(tmp_path)
    spot = estate.lawns[0].model_copy(update={"irrigation": irrigation})
    rain = dict.fromkeys(range(30, 38), 0.6)
    text = message(estate.model_copy(update={"lawns": (spot,)}), mild(MIDNIGHT, rain=rain)).text
    assert ("water 15-20 min" in text) is told  # common practice


def test_a_dose_is_said_for_each_lawn_alone(tmp_path: Path) -> None:
    estate = estate_of(tmp_path)
    twin = estate.lawns[0].model_copy(update={"id": "back", "name": "Back lawn"})
    text = message(estate.model_copy(update={"lawns": (estate.lawns[0], twin)}), mild(MIDNIGHT)).text
    assert text.count("420 ml") == 2  # never one amount that could be read as for both
