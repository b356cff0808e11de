"""Make the invented plant of the demo from a hidden truth.

    python data/demo/make_plant.py [--out FOLDER] [--seed N] [--no-faults] [--times 50]

writes a plant folder (CSV tables and plant.toml) and, in its folder `truth`, what nobody at the
plant knows: the lives the parts were drawn from and every failure as it really happened.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent
if str(HERE) not in sys.path:  # so that this file works however it is loaded
    sys.path.insert(0, str(HERE))

from invented.catalogue import build_catalogue  # noqa: E402
from invented.fleet import FROM, TO, Fleet, build_fleet  # noqa: E402
from invented.looked_at import issue_looked_at, shelve_looked_at  # noqa: E402
from invented.meters import Meters, build_meters, read_meters  # noqa: E402
from invented.running import FAILED, FOUND_FAILED, History, run_fleet  # noqa: E402
from invented.settings import write_settings  # noqa: E402
from invented.spoil import spoil  # noqa: E402
from invented.stores import (  # noqa: E402
    kit_prices,
    write_compatibility,
    write_moves,
    write_pumps,
    write_shelves,
    write_spend,
    write_trials,
)
from invented.tickets import (  # noqa: E402
    number_tickets,
    text_dates,
    write_findings,
    write_issued,
    write_rebuilds,
)
from invented.truth import (  # noqa: E402
    AIR_MATERIAL,
    COSTS,
    IS_AIR,
    MATERIALS,
    PART,
    POSITION,
    SERVICE_COSTS,
    SERVICES,
    WORK,
    Truth,
    default_truth,
)

SEED = 22
COLUMNS = {
    "rebuilds": "rebuild_id pump_id location opened_on reason happened_on closed_on kit "
    "failed_part failure_mode meter labour_h downtime_h waited_h production_lost_h other_cost "
    "released lot crew completes done not_done_why",
    "findings": "rebuild_id pump_id part position count found grade action",
    "issued": "issued_on item quantity rebuild_id pump_id store",
    "readings": "pump_id read_on reading new_meter_start meter_id unit digits multiplier",
    "pumps": "pump_id site service location store size_mm fluid_kit air_kit commissioned_on "
    "retired_on last_fluid_renewal_on last_air_renewal_on use_per_week meter_unit cycles_per_h "
    "hazard standby new_cost new_lead_time_days max_fluid_interval",
}
STORE_FILE = "Lagerausgaben 2019-2025.csv"
STORE_HEADINGS = {
    "issued_on": "Datum",
    "item": "Artikel",
    "quantity": "Menge",
    "rebuild_id": "Auftrag",
    "pump_id": "Pumpe",
    "store": "Lager",
}
OUTCOMES = np.array(["suspended", "failed", "found failed", "worn", "running"], dtype=object)
README = """\
# An invented plant

No such tile works exists. Its pumps, parts, prices, tickets and people are all made up by
`make_plant.py` from a hidden truth, so that what is computed from these records can be compared
with what is so. Not one number here is a recommendation for a real pump.

{pumps} pumps, {breakdowns} breakdowns and {tickets} ticket rows between 2019-01-01 and 2025-06-30;
seed {seed}, {faults}.

`plant.toml` and the CSV files beside it are the plant folder. The folder `truth` holds the hidden
truth: `truth.json` (shape and scale of every part's life, early lives, costs) and
`true_failures.csv` (every failure as it happened).

    python data/demo/make_plant.py --out some/folder --seed 7 --no-faults --times 50
"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Plant:
    """An invented plant.

    Attributes
    ----------
    tables : dict of DataFrame
        The plant folder's tables in the contract's columns; dates are ISO text.
    plant_toml : str
        The settings.
    truth : dict
        `settings` (goes to truth.json), `lives` (every part ever fitted, with its true life [h])
        and `failures` (every failure inside the window), the last two as DataFrames.
    seed : int
    faults : bool
    """

    tables: dict[str, pd.DataFrame]
    plant_toml: str
    truth: dict[str, Any]
    seed: int
    faults: bool

    def __repr__(self) -> str:
        sizes = ", ".join(f"{name} {len(table)}" for name, table in self.tables.items())
        return f"<invented plant, seed {self.seed}, faults {self.faults}: {sizes}>"


def make_plant(
    seed: int = SEED, *, faults: bool = True, scale: int = 1, truth: Truth | None = None
) -> Plant:
    """Make the plant: same arguments, same plant.

    Parameters
    ----------
    seed : int
    faults : bool
        Whether the records are spoilt the way real ones are (and some diaphragms mis-fitted).
    scale : int
        How many times the fleet of 90 pumps.
    truth : Truth, optional
        What the parts' lives are drawn from; default `default_truth(faults=faults)`.
    """
    truth = default_truth(faults=faults) if truth is None else truth
    streams = [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(6)]
    fleet = build_fleet(scale, streams[0])
    history = run_fleet(fleet, truth, streams[1])
    meters, readings = read_meters(build_meters(fleet, streams[2]), streams[2])
    tickets = number_tickets(history, fleet, streams[3], strays=6 if faults else 0)
    tables = _clean_tables(meters, history, readings, tickets, streams[3])
    as_done = tables["rebuilds"]
    if faults:
        tables = spoil(tables, streams[4])
    tables["issued"] = issue_looked_at(tables["issued"], as_done, streams[5])
    tables["on_hand"] = shelve_looked_at(tables["on_hand"], streams[5])
    return Plant(
        tables={name: _in_contract_columns(name, table) for name, table in tables.items()},
        plant_toml=write_settings(faults=faults),
        truth=_tell_truth(truth, fleet, history, tickets),
        seed=seed,
        faults=faults,
    )


def _clean_tables(
    meters: Meters,
    history: History,
    readings: pd.DataFrame,
    tickets: pd.DataFrame,
    rng: np.random.Generator,
) -> dict[str, pd.DataFrame]:
    fleet, catalogue = meters.fleet, build_catalogue()
    pumps = write_pumps(fleet, history, rng)
    pumps["meter_unit"] = meters.unit
    pumps["cycles_per_h"] = meters.cycles_per_h
    pumps["moved"] = np.isfinite(fleet.stored)
    rebuilds = write_rebuilds(tickets, history.lives, meters, rng)
    readings["pump_id"] = fleet.register.pump_id.to_numpy()[readings.pump]
    readings["read_on"] = text_dates(readings.day)
    return {
        "pumps": pumps,
        "rebuilds": rebuilds,
        "findings": write_findings(tickets, history.lives, rng),
        "issued": write_issued(rebuilds, tickets, history.lives, rng),
        "readings": readings,
        **catalogue,
        **write_shelves(pumps, rebuilds, catalogue["parts"], rng),
        "moves": write_moves(fleet),
        "compatibility": write_compatibility(),
        **write_trials(pumps),
        "plan": pd.DataFrame(
            {"service": ["glaze"], "from_on": ["2025-09-01"], "to_on": [""], "use_factor": [1.15]}
        ),
        "spend": write_spend(rebuilds, kit_prices(catalogue["kits"])),
    }


def _in_contract_columns(name: str, table: pd.DataFrame) -> pd.DataFrame:
    """The contract's columns in its order; columns that hold nothing are left out."""
    wanted = COLUMNS[name].split() if name in COLUMNS else list(table.columns)
    table = table[[c for c in wanted if c in table.columns]]
    return table.reset_index(drop=True)


def _tell_truth(
    truth: Truth, fleet: Fleet, history: History, tickets: pd.DataFrame
) -> dict[str, Any]:
    lives = _true_lives(fleet, history, tickets)
    failed = lives.outcome.isin(OUTCOMES[[FAILED, FOUND_FAILED]])
    failures = lives[failed & (lives.end_day >= FROM)]
    columns = "pump_id service side part position material age day rebuild_id early seen_at_once"
    failures = failures.assign(
        age=(failures.death_usage - failures.start_usage).round(2),
        day=text_dates(
            np.floor(fleet.day(failures.pump.to_numpy(), failures.death_usage))
        ).set_axis(failures.index),
        seen_at_once=np.where(failures.outcome == OUTCOMES[FAILED], "yes", "no"),
        early=np.where(failures.early, "yes", "no"),
    )
    return {
        "settings": _settings_of(truth),
        "lives": lives,
        "failures": failures[columns.split()].reset_index(drop=True),
    }


def _true_lives(fleet: Fleet, history: History, tickets: pd.DataFrame) -> pd.DataFrame:
    """Every part ever fitted, in words; a failure in the window has the ticket that ended it."""
    lives = history.lives.copy()
    ids = tickets[tickets.ticket >= 0].set_index("ticket").rebuild_id
    material = np.array(MATERIALS, dtype=object)[lives.material]
    part = pd.Series(PART[lives.place])
    return lives.assign(
        pump_id=fleet.register.pump_id.to_numpy()[lives.pump],
        service=np.array(SERVICES, dtype=object)[fleet.service[lives.pump]],
        size_mm=fleet.register.size_mm.to_numpy()[lives.pump],
        side=np.where(IS_AIR[lives.place], "air", "fluid"),
        part=part,
        position=POSITION[lives.place],
        material=np.where(IS_AIR[lives.place], part.map(AIR_MATERIAL), material),
        outcome=OUTCOMES[lives.outcome],
        rebuild_id=lives.end_ticket.map(ids).fillna(""),
    )


def _settings_of(truth: Truth) -> dict[str, Any]:
    lives = truth.lives.to_dict(orient="records")
    numbers = ("early_share", "early_scale", "batch_share", "frailty_sd", "hidden_share")
    return {
        "usage_unit": "hours",
        "window": [text_dates([FROM])[0], text_dates([TO])[0]],
        "lives": lives,
        **{name: getattr(truth, name) for name in (*numbers, "on_condition")},
        "costs": COSTS,
        "service_costs": SERVICE_COSTS,
        "work": WORK,
    }


def write_plant(plant: Plant, folder: Path | str) -> Path:
    """Write the plant folder; the same plant gives the same bytes."""
    folder = Path(folder)
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    for name, table in plant.tables.items():
        _write_table(plant, name, table, folder)
    _write_text(folder / "plant.toml", plant.plant_toml)
    _write_text(folder / "README.md", _readme(plant))
    settings = json.dumps(plant.truth["settings"], indent=1)
    _write_text(folder / "truth" / "truth.json", settings + "\n")
    _write_csv(plant.truth["failures"], folder / "truth" / "true_failures.csv")
    return folder


def _write_table(plant: Plant, name: str, table: pd.DataFrame, folder: Path) -> None:
    if name == "issued" and plant.faults:
        iso = table.issued_on
        german = iso.str[8:] + "." + iso.str[5:7] + "." + iso.str[:4]
        table = table.assign(issued_on=german).rename(columns=STORE_HEADINGS)
        _write_csv(table, folder / STORE_FILE, sep=";", encoding="utf-8-sig")
    else:
        _write_csv(table, folder / f"{name}.csv")


def _write_csv(table: pd.DataFrame, path: Path, *, sep: str = ",", encoding: str = "utf-8") -> None:
    table.to_csv(
        path, index=False, sep=sep, encoding=encoding, float_format="%.10g", lineterminator="\n"
    )


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _readme(plant: Plant) -> str:
    true = plant.truth["lives"]
    broken = (true.outcome == OUTCOMES[FAILED]) & (true.end_day >= FROM)
    return README.format(
        pumps=len(plant.tables["pumps"]),
        breakdowns=int(broken.sum()),
        tickets=len(plant.tables["rebuilds"]),
        seed=plant.seed,
        faults="records spoilt on purpose" if plant.faults else "records clean",
    )


def main(arguments: Sequence[str] | None = None) -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description="Make an invented plant from a hidden truth.")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write (default: here)")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--no-faults", action="store_true", help="leave the records clean")
    parser.add_argument("--times", type=int, default=1, help="how many times 90 pumps")
    options = parser.parse_args(arguments)
    plant = make_plant(options.seed, faults=not options.no_faults, scale=options.times)
    print(f"{plant} -> {write_plant(plant, options.out)}")


if __name__ == "__main__":
    main()
