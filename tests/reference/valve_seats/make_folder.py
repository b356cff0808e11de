"""Write the valve-seat records as a plant folder: `python make_folder.py` beside `source/`."""

from pathlib import Path

import pandas as pd

HERE = Path(__file__).resolve().parent
FIRST_DAY = pd.Timestamp("2020-01-01")  # ours: every engine starts on this day
SETTINGS = """\
# Diesel-engine valve seats as a plant folder; see README.md. No [costs] on purpose.
[plant]
name = "Valve seats of 41 diesel engines"
currency = "EUR"
usage_unit = "days"
records_from = {first:%Y-%m-%d}
records_to = {last:%Y-%m-%d}
"""


def read_source() -> pd.DataFrame:
    """id, time [days], status (1 = a valve seat was replaced, 0 = the engine's last day)."""
    return pd.read_csv(HERE / "source" / "valve_seats.csv")


def _date(days: pd.Series) -> pd.Series:
    return (FIRST_DAY + pd.to_timedelta(days, "D")).dt.strftime("%Y-%m-%d")


def build_tables(source: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """One pump per engine, one ticket per replacement (also where two fall on one day)."""
    ends = source[source.status == 0]
    seats = source[source.status == 1].reset_index(drop=True)
    goes_on = ends.time == ends.time.max()
    pumps = pd.DataFrame(
        {
            "pump_id": "E-" + ends.id.astype(str),
            "site": "fleet",
            "service": "diesel engine",
            "commissioned_on": FIRST_DAY.strftime("%Y-%m-%d"),
            "retired_on": _date(ends.time).mask(goes_on, ""),
        }
    )
    rebuilds = pd.DataFrame(
        {
            "rebuild_id": "V-" + (seats.index + 1).astype(str).str.zfill(2),
            "pump_id": "E-" + seats.id.astype(str),
            "opened_on": _date(seats.time),
            "reason": "breakdown",
            "kit": "none",
            "failed_part": "valve seat",
        }
    )
    part = {"part_no": "VS", "part": "valve seat", "side": "fluid", "wears": "yes"}
    parts = pd.DataFrame([part | {"releases_fluid": "no", "per_pump": 16, "unit_cost": 1}])
    return {"pumps": pumps, "rebuilds": rebuilds, "parts": parts}


def write_folder(folder: Path = HERE) -> Path:
    """Write the tables and plant.toml into the folder."""
    source = read_source()
    folder.mkdir(parents=True, exist_ok=True)
    for name, table in build_tables(source).items():
        table.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")
    last = FIRST_DAY + pd.Timedelta(days=int(source.time.max()))
    settings = SETTINGS.format(first=FIRST_DAY, last=last)
    (folder / "plant.toml").write_text(settings, encoding="utf-8", newline="\n")
    return folder


if __name__ == "__main__":
    write_folder()
