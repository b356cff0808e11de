"""Spoil clean records the way real ones are spoilt; each fault has one function here."""

import numpy as np
import pandas as pd

from .fleet import Bools

OWN_REASONS = {
    "breakdown": ("BD", "Störung"),
    "planned": ("PM",),
    "inspection": ("Insp.",),
}
OWN_PARTS = {
    "diaphragm": ("dia burst", "Membrane"),
    "ball": ("check ball",),
    "seat": ("valve seat",),
    "air valve": ("main valve",),
    "pilot valve": ("pilot",),
    "rod seal": ("shaft seal",),
}

Tables = dict[str, pd.DataFrame]


def spoil(tables: Tables, rng: np.random.Generator) -> Tables:
    """The same tables with gaps, slips, own words and doubles."""
    tables = {name: table.copy() for name, table in tables.items()}
    _lose_meters(tables, rng)
    _spoil_readings(tables, rng)
    _leave_blank(tables["rebuilds"], rng)
    _lose_findings(tables, rng)
    _contradict(tables, rng)
    _own_words(tables["rebuilds"], rng)
    tables["rebuilds"] = _odd_rows(tables["rebuilds"], tables["pumps"], rng)
    tables["issued"] = _returns(tables["issued"], rng)
    if "on_hand" in tables:
        _forget_shelf(tables["on_hand"])
    return tables


def _forget_shelf(on_hand: pd.DataFrame) -> None:
    """Some bags have lain for five years more than the others, some bear no date."""
    dated = on_hand.index[on_hand["cure_date"].ne("")]
    cured = pd.to_datetime(on_hand.loc[dated[3::8], "cure_date"]) - pd.DateOffset(years=5)
    on_hand.loc[dated[3::8], "cure_date"] = cured.dt.strftime("%Y-%m-%d")
    on_hand.loc[dated[5::9], "cure_date"] = ""


def _some(n: int, share: float, rng: np.random.Generator) -> Bools:
    return np.asarray(rng.random(n) < share)


def _lose_meters(tables: Tables, rng: np.random.Generator) -> None:
    """Six pumps in a hundred have no meter: only the weekly use is known."""
    pumps, readings, rebuilds = (tables[t] for t in ("pumps", "readings", "rebuilds"))
    without = set(pumps.pump_id[_some(len(pumps), 0.06, rng)])
    tables["readings"] = readings[~readings.pump_id.isin(without)].reset_index(drop=True)
    rebuilds.loc[rebuilds.pump_id.isin(without), "meter"] = np.nan
    unmetered = pumps.pump_id.isin(without)
    pumps["meter_unit"] = pumps.meter_unit.mask(unmetered, "")
    pumps["cycles_per_h"] = pumps.cycles_per_h.mask(unmetered)


def _spoil_readings(tables: Tables, rng: np.random.Generator) -> None:
    """Slips of the pen; two exchanges in ten unrecorded; five-digit counters that roll over."""
    readings, rebuilds = tables["readings"], tables["rebuilds"]
    exchanged = readings.new_meter_start.notna().to_numpy()
    silent = exchanged & _some(len(readings), 0.2, rng)
    readings.loc[silent, ["new_meter_start"]] = np.nan
    _roll_over(readings, rebuilds, rng)
    slip = _some(len(readings), 0.003, rng) & ~exchanged
    readings.loc[slip, "reading"] = np.round(readings.reading[slip] * 10 + 3)


def _roll_over(readings: pd.DataFrame, rebuilds: pd.DataFrame, rng: np.random.Generator) -> None:
    """One hour meter in forty has five digits and starts close to their end."""
    plain = readings.groupby("pump_id").agg(
        unit=("unit", "first"), meters=("meter_id", "nunique"), top=("reading", "max")
    )
    able = plain.index[(plain.unit == "hours") & (plain.meters == 1) & (plain.top > 9_000)]
    chosen = able[_some(len(able), 1 / 40, rng)] if len(able) > 80 else able[:1]
    rows = readings.pump_id.isin(chosen)
    readings["digits"] = np.where(rows, 5.0, np.nan)
    readings.loc[rows, "reading"] = (readings.reading[rows] + 94_000) % 100_000
    rows = rebuilds.pump_id.isin(chosen)
    rebuilds.loc[rows, "meter"] = (rebuilds.meter[rows] + 94_000) % 100_000


def _leave_blank(rebuilds: pd.DataFrame, rng: np.random.Generator) -> None:
    """Three breakdowns in a hundred name no part; three kits in a hundred aren't written."""
    order = rebuilds.rebuild_id.rank(method="dense").astype(int).to_numpy() - 1
    nameless = _some(order.max() + 1, 0.03, rng)[order]
    nameless &= (rebuilds.reason == "breakdown").to_numpy()
    rebuilds.loc[nameless, "failed_part"], rebuilds.loc[nameless, "failure_mode"] = "", ""
    lost = _some(len(rebuilds), 0.03, rng) & (rebuilds.kit != "none").to_numpy()
    lost &= ~rebuilds.duplicated("rebuild_id", keep=False).to_numpy()
    rebuilds.loc[lost, "kit"] = ""
    unsaid = _some(len(rebuilds), 0.1, rng) & (rebuilds.kit == "none").to_numpy()
    rebuilds.loc[unsaid & (rebuilds.reason == "breakdown"), "kit"] = ""


def _lose_findings(tables: Tables, rng: np.random.Generator) -> None:
    """Thirty positions in a hundred at breakdowns weren't written; some findings lack a grade."""
    findings, rebuilds = tables["findings"], tables["rebuilds"]
    broken = set(rebuilds.rebuild_id[rebuilds.reason == "breakdown"])
    at_breakdown = findings.rebuild_id.isin(broken).to_numpy()
    # of a part that was renewed by itself the row stays and only its position is lost
    lost = at_breakdown & _some(len(findings), 0.3, rng)
    alone = set(rebuilds.rebuild_id[~rebuilds.kit.str.contains("K-")])
    by_itself = findings.rebuild_id.isin(alone).to_numpy()
    findings.loc[lost & by_itself, "position"] = ""
    findings.loc[lost & by_itself, "count"] = 1.0
    findings.loc[_some(len(findings), 0.3, rng), "grade"] = np.nan
    tables["findings"] = findings[~(lost & ~by_itself)].reset_index(drop=True)


def _contradict(tables: Tables, rng: np.random.Generator) -> None:
    """Two findings say failed and kept in one line."""
    findings = tables["findings"]
    failed = findings.index[findings.found == "failed"]
    findings.loc[rng.choice(failed, 2, replace=False), "action"] = "kept"


def _own_words(rebuilds: pd.DataFrame, rng: np.random.Generator) -> None:
    """A third of the reasons and of the parts blamed are in the plant's own words."""
    for column, words in (("reason", OWN_REASONS), ("failed_part", OWN_PARTS)):
        values = rebuilds[column].copy()
        own = _some(len(rebuilds), 0.35, rng)
        for code, names in words.items():
            rows = own & (values == code).to_numpy()
            which = rng.integers(0, len(names), int(rows.sum()))
            rebuilds.loc[rows, column] = np.array(names, dtype=object)[which]


def _odd_rows(
    rebuilds: pd.DataFrame, pumps: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """Rows that can't be used as they stand, and rows that say the same thing again."""
    single = ~rebuilds.duplicated("rebuild_id", keep=False)
    counts = [round(share * len(rebuilds)) for share in (0.004, 0.003, 0.003, 0.02)]
    shuffled = rng.permutation(rebuilds.index[single])
    reasonless, undated, unknown, by_slot, _ = np.split(shuffled, np.cumsum(counts))
    rebuilds.loc[reasonless, "reason"] = "see log book"
    letters = rebuilds.opened_on.str.replace("20", "2O", n=1)  # the letter for the digit
    rebuilds.loc[undated, "opened_on"] = letters[undated]
    rebuilds.loc[unknown, "pump_id"] = "P-7O1"
    moved = rebuilds.pump_id.isin(_moved(pumps))
    located = rebuilds.index.isin(by_slot) & ~moved
    rebuilds["location"] = rebuilds.location.where(located, "")
    rebuilds.loc[located, "pump_id"] = ""
    rebuilds = _split_orders(rebuilds, rng)
    doubles = rebuilds[_some(len(rebuilds), 0.02, rng)].copy()
    changed = _some(len(doubles), 0.2, rng)
    doubles.loc[changed, "labour_h"] = doubles.labour_h[changed] + 1
    return pd.concat([rebuilds, _not_done(rebuilds, rng), doubles]).reset_index(drop=True)


def _moved(pumps: pd.DataFrame) -> set[str]:
    return set(pumps.pump_id[pumps.moved])


def _split_orders(rebuilds: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """A few breakdowns are patched first and finished with the kit under a second order."""
    whole = rebuilds.kit.str.contains("K-") & rebuilds.failed_part.isin(["ball", "seat"])
    whole &= ~rebuilds.duplicated("rebuild_id", keep=False)
    chosen = (whole & (rebuilds.reason == "breakdown") & (rebuilds.pump_id != "")).to_numpy()
    chosen &= _some(len(rebuilds), 0.1, rng)
    second = rebuilds[chosen].copy()
    second["completes"], second["rebuild_id"] = second.rebuild_id, second.rebuild_id + "/2"
    opened = pd.to_datetime(second.opened_on, errors="coerce", format="%Y-%m-%d")
    later = opened + pd.to_timedelta(rng.integers(1, 6, len(second)), "D")
    second["opened_on"] = later.dt.strftime("%Y-%m-%d").fillna("")
    second[["closed_on", "happened_on"]] = ""
    second["downtime_h"] -= second.waited_h.fillna(0.0)
    second[["meter", "waited_h"]] = np.nan
    first = rebuilds.assign(
        kit=rebuilds.kit.mask(chosen, "none"),
        lot=rebuilds.lot.mask(chosen, ""),
        done=np.where(chosen, "partly", ""),
    )
    return pd.concat([first, second[second.opened_on != ""]]).reset_index(drop=True)


def _not_done(rebuilds: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Planned orders that were closed without the work."""
    planned = rebuilds[rebuilds.reason.isin(["planned", "PM"])]
    rows = planned[_some(len(planned), 0.04, rng)].copy()
    rows["rebuild_id"] = rows.rebuild_id.str.replace("R-", "N-")
    rows["kit"], rows["lot"], rows["done"] = "none", "", "no"
    rows["not_done_why"], rows["failed_part"] = "no access", "none"
    opened = pd.to_datetime(rows.opened_on, errors="coerce", format="%Y-%m-%d")
    earlier = (opened - pd.Timedelta(days=20)).dt.strftime("%Y-%m-%d").fillna("")
    hours = ["labour_h", "downtime_h", "waited_h", "other_cost", "meter"]
    rows[hours], rows["closed_on"] = np.nan, ""
    rows["opened_on"] = earlier
    return rows[(rows.opened_on > "2019-01-01") & (rows.pump_id != "")]


def _returns(issued: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Kits drawn by mistake and brought back, under the same order."""
    rows = issued[_some(len(issued), 0.01, rng)]
    day_before = pd.to_datetime(rows.issued_on) - pd.Timedelta(days=1)
    drawn = rows.assign(issued_on=day_before.dt.strftime("%Y-%m-%d"))
    back = rows.assign(quantity=-rows.quantity)
    return pd.concat([issued, drawn, back]).reset_index(drop=True)
