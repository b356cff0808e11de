"""A small plant whose three fluid sides are due, and its study."""

import pytest

from pumplife.study import run_study

from ..plants import SETTINGS, small_plant

DUE = f"""{SETTINGS}
[evidence]
advise = 0
advise_lent = 0

[ticket]
weeks = 520
"""


@pytest.fixture(scope="package")
def plant(tmp_path_factory):
    return small_plant(tmp_path_factory.mktemp("ticket") / "plant", plant_toml=DUE)


@pytest.fixture(scope="package")
def study(plant):
    return run_study(plant)
