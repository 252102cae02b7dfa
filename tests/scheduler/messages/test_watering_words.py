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
