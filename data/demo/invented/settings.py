"""The text of the invented plant's plant.toml."""

from .truth import COSTS, SERVICE_COSTS, WORK

HEAD = """\
# An invented plant: no such tile works exists.
[plant]
name = "Tile works (invented)"
currency = "EUR"
usage_unit = "hours"
records_from = 2019-01-01
records_to = 2025-06-30
"""

TAIL = """
[targets]
service_level = 0.95
hazardous_failure_probability = 0.05
review_days = 14

[calendar]
outages = [
  { on = 2025-08-11, bench_hours = 40 }, { on = 2025-12-22, bench_hours = 60 },
  { on = 2026-04-06, bench_hours = 40 }, 2026-08-10,
]
bench_hours_per_week = 30

[calendar.site."frit works"]
outages = [{ on = 2025-10-06, bench_hours = 30 }, { on = 2026-04-06, bench_hours = 30 }]
bench_hours_per_week = 20

[budget]
year_starts = "01-01"
price_rise = { kits = 0.03, labour = 0.025 }
"""

FAULTY = """
# the store's own export: semicolons, its own headings, days first
[files]
issued = "Lagerausgaben 2019-2025.csv"

[dates]
order = "day-first"

[columns.issued]
"Datum" = "issued_on"
"Artikel" = "item"
"Menge" = "quantity"
"Auftrag" = "rebuild_id"
"Pumpe" = "pump_id"
"Lager" = "store"

[codes.rebuilds.reason]
"BD" = "breakdown"
"Störung" = "breakdown"
"PM" = "planned"
"Insp." = "inspection"

[codes.rebuilds.failed_part]
"dia burst" = "diaphragm"
"Membrane" = "diaphragm"
"check ball" = "ball"
"valve seat" = "seat"
"main valve" = "air valve"
"pilot" = "pilot valve"
"shaft seal" = "rod seal"
"""


def _section(name: str, values: dict[str, float]) -> str:
    lines = [f"{key} = {value}" for key, value in values.items()]
    return "\n".join([f"\n[{name}]", *lines]) + "\n"


def write_settings(*, faults: bool) -> str:
    """plant.toml; with faults also the plant's own file name, headings and codes."""
    text = HEAD + _section("costs", COSTS)
    for service, values in SERVICE_COSTS.items():
        text += _section(f'costs.service."{service}"', values)
    for side, values in WORK.items():
        text += _section(f"work.{side}", values)
    return text + TAIL + (FAULTY if faults else "")
