"""Write a large invented plant folder, to measure how long reading it takes.

    python tests/benchmarks/big_folder.py FOLDER [--pumps 20000] [--tickets 1000000] ...

Every pump has the same number of tickets and readings; the records are clean but for one row in a
thousand. Nothing here is a real plant.
"""

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np

FIRST = np.datetime64("2014-01-01")
DAYS = 4017
"""Ten years and eleven months, to the end of 2024."""
SERVICES = ("slip", "glaze", "sludge", "caustic", "solvent", "latex", "water", "ink")
SETTINGS = """\
[plant]
name = "Large works (invented)"
currency = "EUR"
usage_unit = "hours"
records_from = 2014-01-01
records_to = 2024-12-31
[costs]
labour_per_h = 50.0
downtime_per_h = 100.0
call_out = 80.0
[work.fluid]
planned_labour_h = 3.0
breakdown_labour_h = 5.0
planned_downtime_h = 2.0
breakdown_downtime_h = 8.0
"""
SMALL = {
    "parts": "part_no,part,side,wears,material,per_pump,unit_cost\n"
    "D,diaphragm,fluid,yes,CR,2,60\nB,ball,fluid,yes,CR,4,15\nS,seat,fluid,yes,CR,4,12\n",
    "kits": "kit,side,material,unit_cost,lead_time_days\nFK,fluid,CR,200,20\n",
    "kit_contents": "kit,part_no,quantity\nFK,D,2\nFK,B,4\nFK,S,4\n",
}


def write_big_folder(
    path: Path, pumps: int = 20_000, tickets: int = 1_000_000, readings: int = 5_000_000
) -> Path:
    """Write the folder and return it; tickets and readings are rounded down to whole pumps."""
    path.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(5)
    (path / "plant.toml").write_text(SETTINGS, encoding="utf-8")
    for name, text in SMALL.items():
        (path / f"{name}.csv").write_text(text, encoding="utf-8")
    numbers = _words("P-", np.arange(pumps))
    daily = rng.uniform(4.0, 18.0, pumps)
    _write_pumps(path / "pumps.csv", numbers, daily, rng)
    _write_tickets(path / "rebuilds.csv", numbers, tickets // pumps, rng)
    _write_readings(path / "readings.csv", numbers, daily, readings // pumps, rng)
    return path


def _words(front: str, numbers: np.ndarray) -> np.ndarray:
    return np.char.add(front, np.char.zfill(numbers.astype(str), 7)).astype(object)


def _dates() -> np.ndarray:
    return (FIRST + np.arange(DAYS)).astype(str).astype(object)


def _spread_days(pumps: int, each: int, rng: np.random.Generator) -> np.ndarray:
    """Days of each pump's tickets, after lives with a shape of 2.5 [day], (pumps, each)."""
    lives = rng.weibull(2.5, (pumps, each + 1))
    along = np.cumsum(lives, axis=1) / lives.sum(axis=1, keepdims=True)
    return (along[:, :-1] * (DAYS - 1)).astype(np.int64)


def _write(path: Path, heading: str, *columns: np.ndarray) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(heading + "\n")
        file.write("\n".join(map(",".join, zip(*(c.tolist() for c in columns), strict=True))))
        file.write("\n")


def _write_pumps(
    path: Path, numbers: np.ndarray, daily: np.ndarray, rng: np.random.Generator
) -> None:
    count = len(numbers)
    service = np.array(SERVICES, dtype=object)[rng.integers(0, len(SERVICES), count)]
    site = np.array(["north", "south", "east"], dtype=object)[rng.integers(0, 3, count)]
    weekly = np.char.mod("%.0f", 7.0 * daily).astype(object)
    kit, new = np.full(count, "FK", object), np.full(count, "2014-01-01", object)
    heading = "pump_id,site,service,fluid_kit,commissioned_on,use_per_week"
    _write(path, heading, numbers, site, service, kit, new, weekly)


def _write_tickets(path: Path, numbers: np.ndarray, each: int, rng: np.random.Generator) -> None:
    count = len(numbers) * each
    pump = np.repeat(numbers, each)
    day = _dates()[_spread_days(len(numbers), each, rng).ravel()]
    broke = rng.random(count) < 0.6
    reason = np.where(broke, "breakdown", "planned").astype(object)
    parts = np.array(["diaphragm", "ball", "seat"], dtype=object)
    part = np.where(broke, parts[rng.choice(3, count, p=[0.6, 0.25, 0.15])], "none")
    hours = np.char.mod("%.1f", np.arange(20, 90) / 10).astype(object)[rng.integers(0, 70, count)]
    spoilt = rng.random(count) < 0.001
    pump = np.where(spoilt, "P-lost", pump)
    kit = np.full(count, "FK", object)
    heading = "rebuild_id,pump_id,opened_on,reason,kit,failed_part,labour_h"
    _write(path, heading, _words("R-", np.arange(count)), pump, day, reason, kit, part, hours)


def _write_readings(
    path: Path, numbers: np.ndarray, daily: np.ndarray, each: int, rng: np.random.Generator
) -> None:
    day = np.linspace(0, DAYS - 1, each).astype(np.int64)[None, :]
    shown = day * daily[:, None] + rng.uniform(0.0, 2.0, (len(numbers), each))
    slip = rng.random(shown.shape) < 0.001
    shown = np.where(slip, shown * 3.0, shown)
    words = shown.astype(np.int64).astype(str).astype(object)
    dates = np.broadcast_to(_dates()[day], shown.shape)
    heading = "pump_id,read_on,reading"
    _write(path, heading, np.repeat(numbers, each), dates.ravel(), words.ravel())


def main(arguments: Sequence[str] | None = None) -> None:
    """Write the folder named on the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    for name, usual in (("pumps", 20_000), ("tickets", 1_000_000), ("readings", 5_000_000)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    options = parser.parse_args(arguments)
    write_big_folder(options.folder, options.pumps, options.tickets, options.readings)


if __name__ == "__main__":
    main()
