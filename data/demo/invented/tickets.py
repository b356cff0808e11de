"""What people write down at an opening: rebuild tickets, findings and issues from the store."""

import numpy as np
import pandas as pd

from .catalogue import AIR_KIT_PRICE, PREFIX, part_number
from .fleet import FROM, STORES, TO, Fleet
from .meters import Meters
from .running import (
    BREAKDOWN,
    FAILED,
    FOUND_FAILED,
    INSPECTION,
    PLANNED,
    WORN,
    History,
)
from .truth import AIR_MATERIAL, COSTS, IS_AIR, MATERIALS, PART, POSITION, SERVICE_COSTS, WORK

REASONS = np.array(["breakdown", "planned", "inspection", "modification", "stoppage"], dtype=object)
STOPPAGE = 4
MODES = {
    "diaphragm": ("ruptured", "cracked at the outer plate", "cut"),
    "ball": ("worn", "swollen"),
    "seat": ("worn", "washed out"),
    "air valve": ("stalls", "blows by", "sticks"),
    "pilot valve": ("doesn't shift",),
    "rod seal": ("blows by",),
}


def text_dates(days: object) -> pd.Series:
    """Days since 1970-01-01 as ISO text; "" where not finite."""
    values = pd.Series(days, dtype=float)
    fine = np.isfinite(values)
    stamps = values.where(fine, 0.0).to_numpy().astype("datetime64[D]")
    return pd.Series(np.datetime_as_string(stamps), dtype=object).where(fine.to_numpy(), "")


def number_tickets(
    history: History, fleet: Fleet, rng: np.random.Generator, *, strays: int
) -> pd.DataFrame:
    """All openings inside the window and the stoppages between them, in order, with rebuild_id.

    `strays` openings of the year before the window come too: each the last one of its pump.
    """
    tickets = history.tickets.assign(day=np.floor(history.tickets.day))
    before = tickets[tickets.day < FROM].sort_values("day").drop_duplicates("pump", keep="last")
    before = before[before.fluid & (before.day > FROM - 365)].head(strays)
    tickets = pd.concat([before, tickets[tickets.day >= FROM], _stoppages(fleet, rng)])
    tickets = tickets.sort_values(["day", "pump"], kind="stable").reset_index(drop=True)
    wide = max(4, len(str(len(tickets))))
    number = pd.Series(range(1, len(tickets) + 1)).astype(str).str.zfill(wide)
    columns = ["pump_id", "site", "service", "size_mm", "standby", "location"]
    return pd.concat(
        [
            tickets.assign(rebuild_id="R-" + number),
            fleet.register.loc[tickets.pump, columns].reset_index(drop=True),
        ],
        axis=1,
    )


def _stoppages(fleet: Fleet, rng: np.random.Generator) -> pd.DataFrame:
    """Blockages and iced exhausts: the pump stands, nothing is renewed."""
    n = rng.poisson(0.12 * (TO - FROM) / 365.25 * len(fleet))
    pump, day = rng.integers(0, len(fleet), n), np.floor(rng.uniform(FROM, TO, n))
    in_use = (day > fleet.commissioned[pump]) & (day < fleet.last_day[pump])
    in_use &= (day < fleet.stored[pump]) | (day > fleet.returned[pump])
    table = pd.DataFrame({"pump": pump, "day": day})[in_use]
    nothing = {"fluid": False, "air": False, "seats_kept": False, "material": -1}
    return table.assign(ticket=-1, kind=STOPPAGE, place=-1, **nothing)


def write_rebuilds(
    tickets: pd.DataFrame, lives: pd.DataFrame, meters: Meters, rng: np.random.Generator
) -> pd.DataFrame:
    """The rebuilds table: one row per ticket and kit, hours and costs on each row of a ticket."""
    table = tickets.merge(_what_failed(lives), on="ticket", how="left")
    table["reason"] = REASONS[table.kind]
    table["failed_part"] = _blamed(table)
    table["failure_mode"] = _modes(table, rng)
    _hours(table, rng)
    _dates(table, rng)
    written = (rng.random(len(table)) < 0.85) & (table.kind != STOPPAGE)
    table["meter"] = np.where(written, meters.value(table.pump.to_numpy(), table.day), np.nan)
    table["crew"] = "C" + pd.Series(rng.integers(1, 6, len(table))).astype(str)
    return _one_row_per_kit(table)


def _what_failed(lives: pd.DataFrame) -> pd.DataFrame:
    """The first part that each planned opening or inspection found failed."""
    found = lives[lives.outcome == FOUND_FAILED]
    parts = pd.DataFrame({"ticket": found.end_ticket, "found": PART[found.place]})
    return parts.groupby("ticket", as_index=False).first()


def _blamed(table: pd.DataFrame) -> np.ndarray:
    named = np.where(table.place >= 0, PART[table.place], "none").astype(object)
    found = table.found.notna() & (table.kind != BREAKDOWN)
    return np.where(found, table.found, named)


def _modes(table: pd.DataFrame, rng: np.random.Generator) -> np.ndarray:
    luck = rng.random(len(table))
    modes = np.full(len(table), "", dtype=object)
    modes[table.kind == STOPPAGE] = "blocked"
    for part, names in MODES.items():
        rows = ((table.failed_part == part) & (luck < 0.8)).to_numpy()
        modes[rows] = np.array(names, dtype=object)[(luck[rows] * 1e4).astype(int) % len(names)]
    return modes


def _hours(table: pd.DataFrame, rng: np.random.Generator) -> None:
    """Labour, downtime, waiting and clean-up, around what the plant believes they are."""
    n = len(table)
    spread = rng.lognormal(-0.03, 0.25, (3, n))
    broken = (table.kind == BREAKDOWN).to_numpy()
    air_only = (table.air & ~table.fluid).to_numpy() | ((table.place >= 10) & ~table.fluid)
    both = (table.air & table.fluid).to_numpy()
    hours = {
        what: np.where(
            air_only,
            np.where(broken, WORK["air"][f"breakdown_{what}"], WORK["air"][f"planned_{what}"]),
            np.where(broken, WORK["fluid"][f"breakdown_{what}"], WORK["fluid"][f"planned_{what}"]),
        )
        for what in ("labour_h", "downtime_h")
    }
    short = np.isin(table.kind, [INSPECTION, STOPPAGE])
    factor = np.where(short, 0.3, np.where(both, 1.25, 1.0))
    waits = broken & (rng.random(n) < 0.1)
    table["waited_h"] = np.where(waits, np.round(rng.gamma(2, 5, n), 1), np.nan)
    table["labour_h"] = np.round(hours["labour_h"] * factor * spread[0], 1)
    table["downtime_h"] = np.round(hours["downtime_h"] * factor * spread[1], 1)
    table["downtime_h"] += table.waited_h.fillna(0)
    table["production_lost_h"] = np.where(table.standby == "installed", 0.0, np.nan)
    spill = np.array([SERVICE_COSTS[s].get("spill", COSTS["spill"]) for s in table.service])
    ruptured = broken & (table.place >= 0) & (table.place < 2)
    table["other_cost"] = np.where(ruptured, np.round(spill * spread[2]), np.nan)
    released = np.where(rng.random(n) < 0.3, "outside", "air_side")
    table["released"] = np.where(ruptured, released, np.where(broken, "none", ""))


def _dates(table: pd.DataFrame, rng: np.random.Generator) -> None:
    """Some breakdowns are written a day or two late, with the day of the failure beside."""
    broken = table.kind == BREAKDOWN
    late = np.where(broken & (rng.random(len(table)) < 0.12), rng.integers(1, 3, len(table)), 0)
    opened = np.minimum(table.day + late, TO)
    table["opened_on"] = text_dates(opened)
    table["happened_on"] = text_dates(table.day.where(late > 0))
    closed = opened + np.ceil(table.waited_h.fillna(0) / 24) + (rng.random(len(table)) < 0.3)
    table["closed_on"] = text_dates(closed)


def _one_row_per_kit(table: pd.DataFrame) -> pd.DataFrame:
    size = table.size_mm.astype(str)
    material = np.array(MATERIALS, dtype=object)[table.material]
    fluid = table.assign(kit=np.where(table.fluid, "FK-" + size + "-" + material, ""))
    air = table.assign(kit=np.where(table.air, "AK-" + size, ""))
    none = table.assign(kit=np.where(table.fluid | table.air, "", "none"))
    rows = pd.concat([fluid, air, none])
    rows = rows[rows.kit != ""].sort_values(["rebuild_id"], kind="stable").reset_index(drop=True)
    quarter = pd.to_datetime(rows.opened_on) - pd.Timedelta(days=200)
    lot = quarter.dt.year.astype(str) + "Q" + quarter.dt.quarter.astype(str)
    rows["lot"] = np.where(rows.kit.str.startswith("FK"), lot, "")
    return rows


def write_findings(
    tickets: pd.DataFrame, lives: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """The findings table, with the ticket's columns kept beside for whoever spoils it."""
    rows = pd.concat(
        [
            _failures_seen(tickets, lives, rng),
            _one_finding(tickets[tickets.kind == INSPECTION], "all_fluid", "sound", "kept"),
            _one_finding(tickets[tickets.seats_kept], "seat", "sound", "kept"),
            _worn_at_planned(tickets, rng),
            _one_finding(
                tickets[(tickets.kind == STOPPAGE) & (tickets.pump % 2 == 0)],
                "ball",
                "blocked",
                "cleaned",
            ),
        ]
    )
    return rows.sort_values(["rebuild_id"], kind="stable").reset_index(drop=True)


def _one_finding(tickets: pd.DataFrame, part: str, found: str, action: str) -> pd.DataFrame:
    columns = tickets[["rebuild_id", "pump_id"]]
    return columns.assign(part=part, position="", found=found, grade=np.nan, action=action)


def _worn_at_planned(tickets: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Now and then somebody grades the diaphragms that a planned kit replaces."""
    planned = tickets[(tickets.kind == PLANNED) & (rng.random(len(tickets)) < 0.1)]
    table = _one_finding(planned, "diaphragm", "worn", "renewed")
    return table.assign(grade=2.0)


def _failures_seen(
    tickets: pd.DataFrame, lives: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """The position of a failed part: always where the ages differ, else in six cases of ten."""
    ended = lives[np.isin(lives.outcome, [FAILED, FOUND_FAILED, WORN])]
    alike = lives.assign(part=PART[lives.place]).groupby(["end_ticket", "part"])
    renewed = alike.start_day.agg(["nunique", "size"]).reset_index()
    columns = ["ticket", "rebuild_id", "pump_id", "size_mm", "fluid", "air"]
    table = pd.DataFrame(
        {
            "ticket": ended.end_ticket,
            "part": PART[ended.place],
            "position": POSITION[ended.place],
            "outcome": ended.outcome,
            "end_ticket": ended.end_ticket,
        }
    )
    table = table.merge(tickets[columns], on="ticket").merge(renewed, on=["end_ticket", "part"])
    of_kind = table.part.map(pd.Series(PART).value_counts())
    plain = (table["nunique"] == 1) & (table["size"] == of_kind) & (table.outcome == FAILED)
    table = table[~plain | (rng.random(len(table)) < 0.6)]
    worn = table.outcome == WORN
    table["found"] = np.where(worn, "worn", "failed")
    table["grade"], table["action"] = np.where(worn, 3.0, 4.0), "renewed"
    return table[["rebuild_id", "pump_id", "part", "position", "found", "grade", "action"]]


def write_issued(
    rebuilds: pd.DataFrame, tickets: pd.DataFrame, lives: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """Kits and loose parts that left the store, mostly on the day of the job."""
    kits = rebuilds.loc[rebuilds.kit != "none", ["rebuild_id", "pump_id", "site", "day", "kit"]]
    kits = kits.rename(columns={"kit": "item"}).assign(quantity=1)
    table = pd.concat([kits, _loose_parts(tickets, lives)]).reset_index(drop=True)
    early = rng.integers(0, 3, len(table)) * (rng.random(len(table)) < 0.3)
    table["issued_on"] = text_dates(table.day - early)
    table["store"] = table.site.map(STORES)
    table = table[rng.random(len(table)) < 0.93]
    return table.sort_values(["issued_on", "rebuild_id"], kind="stable").reset_index(drop=True)


def _loose_parts(tickets: pd.DataFrame, lives: pd.DataFrame) -> pd.DataFrame:
    """Parts renewed without a kit of their side, and a gasket set for each such fluid opening."""
    table = lives[lives.end_ticket >= 0].merge(
        tickets[["ticket", "rebuild_id", "pump_id", "site", "size_mm", "day", "fluid", "air"]],
        left_on="end_ticket",
        right_on="ticket",
    )
    air = IS_AIR[table.place]
    table = table[np.where(air, ~table.air, ~table.fluid)]
    air = IS_AIR[table.place]
    part = pd.Series(PART[table.place], index=table.index)
    material = np.array(MATERIALS, dtype=object)[table.material]
    material = np.where(air, part.map(AIR_MATERIAL), material)
    number = part.map(PREFIX) + "-" + table.size_mm.astype(str)
    table["item"] = number + np.where(material == "", "", "-" + material.astype(object))
    columns = ["rebuild_id", "pump_id", "site", "day"]
    loose = table.groupby([*columns, "item"], as_index=False).size()
    gaskets = table[~air].drop_duplicates("rebuild_id")
    numbers = {size: part_number("gasket set", size, "") for size in AIR_KIT_PRICE}
    gaskets = gaskets.assign(item=gaskets.size_mm.map(numbers), size=1)
    return pd.concat([loose, gaskets[[*columns, "item", "size"]]]).rename(
        columns={"size": "quantity"}
    )
