"""Plants small enough to follow by hand: usage 100 hours a week, so ages are easy to read."""

from collections.abc import Mapping
from pathlib import Path

from pumplife.lives.build import Lives, build_lives
from pumplife.records.duty import build_duty
from pumplife.records.read import Records, read_records
from pumplife.records.usage import build_clock

TOML = """
[plant]
name = "invented by hand"
currency = "EUR"
usage_unit = "hours"
records_from = 2020-01-01
records_to = 2023-12-31
"""

TABLES = {
    "pumps": """pump_id,site,service,size_mm,fluid_kit,commissioned_on,use_per_week
P1,north,slip,50,K50,2020-01-01,70
""",
    "rebuilds": """rebuild_id,pump_id,opened_on,reason,kit,failed_part
R0,P1,2020-06-01,stoppage,,
""",
    "parts": """part_no,part,side,wears,material,size_mm,per_pump,unit_cost
D50,diaphragm,fluid,yes,CR,50,2,70
B50,ball,fluid,yes,CR,50,4,25
S50,seat,fluid,yes,PU,50,4,32
V50,air valve,air,yes,NBR,50,1,90
""",
    "kits": "kit,side,size_mm,material,unit_cost\nK50,fluid,50,CR,350\nA50,air,50,NBR,120\n",
    "kit_contents": "kit,part_no,quantity\nK50,D50,2\nK50,B50,4\nK50,S50,4\nA50,V50,1\n",
}


def lives_of(folder: Path, **tables: str) -> tuple[Records, Lives]:
    """Write a plant of the tables above, overridden by name, and build its lives."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "plant.toml").write_text(tables.pop("plant", TOML), encoding="utf-8")
    written: Mapping[str, str] = {**TABLES, **tables}
    for name, text in written.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    records = read_records(folder)
    duty = build_duty(records)
    return records, build_lives(records, duty, build_clock(records, duty))
