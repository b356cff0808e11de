"""A small plant folder to spoil in one place at a time."""

from collections.abc import Callable
from pathlib import Path

import pytest

SETTINGS = """
[plant]
name = "Small works"
currency = "EUR"
usage_unit = "hours"
records_from = 2020-01-01
records_to = 2023-12-31
[costs]
labour_per_h = 50.0
downtime_per_h = 100.0
[targets]
service_level = 0.9
hazardous_failure_probability = 0.02
review_days = 14
"""

TABLES = {
    "pumps": (
        "pump_id,site,service,location,size_mm,fluid_kit,air_kit,commissioned_on,use_per_week\n"
        "P1,north,slip,A-1,50,FK,AK,2019-05-01,70\n"
        "P2,north,slip,A-2,50,FK,AK,2018-01-01,70\n"
        "P3,south,glaze,B-1,50,FK,AK,2021-03-01,35\n"
    ),
    "rebuilds": (
        "rebuild_id,pump_id,opened_on,reason,kit,failed_part,meter,labour_h\n"
        "R1,P1,2020-03-04,breakdown,FK,diaphragm,,4.5\n"
        "R2,P2,2021-06-07,planned,FK,none,,3\n"
        "R3,P3,2022-08-09,breakdown,FK,,,5\n"
    ),
    "readings": (
        "pump_id,read_on,reading\nP1,2020-01-01,1000\nP1,2021-01-01,4660\nP1,2022-01-01,8310\n"
    ),
    "kits": "kit,side,size_mm,material,unit_cost\nFK,fluid,50,NBR,180\nAK,air,50,,90\n",
    "parts": (
        "part_no,part,side,wears,material,size_mm,per_pump,unit_cost\n"
        "D,diaphragm,fluid,yes,NBR,50,2,40\n"
        "B,ball,fluid,yes,NBR,50,4,10\n"
        "S,seat,fluid,yes,NBR,50,4,8\n"
        "V,air valve,air,yes,,50,1,60\n"
    ),
    "kit_contents": "kit,part_no,quantity\nFK,D,2\nFK,B,4\nFK,S,4\nAK,V,1\n",
}

WritePlant = Callable[..., Path]


@pytest.fixture
def write_plant(tmp_path: Path) -> WritePlant:
    """Give a function that writes the small plant; a table given as None is left out."""

    def write(settings: str = SETTINGS, **changed: str | bytes | None) -> Path:
        folder = tmp_path / "plant"
        folder.mkdir(exist_ok=True)
        (folder / "plant.toml").write_text(settings, encoding="utf-8")
        for name, text in (TABLES | changed).items():
            if isinstance(text, str):
                (folder / f"{name}.csv").write_text(text, encoding="utf-8")
            elif text is not None:
                (folder / f"{name}.csv").write_bytes(text)
        return folder

    return write


@pytest.fixture
def small_tables() -> dict[str, str]:
    """The text of every table of the small plant."""
    return dict(TABLES)


@pytest.fixture
def small_settings() -> str:
    """The settings of the small plant."""
    return SETTINGS
