"""The records as they stood on a past day: what was first written by then, and nothing since.

A ticket counts as written when its order was closed (when opened, where no closing date stands):
kit, failed part and hours are known at closing only. Findings follow their order, everything
else its own date. How cells are read (order of day and month, decimal mark) is settled on the
whole file; cells without a date of their own (duty, use_per_week, kit contents, limits, plant.toml)
are as they stand today. Of `plan` nobody wrote when it was made: a past day knows none of it.
"""

from dataclasses import replace

import pandas as pd

from pumplife.records.copies import day_of_copy
from pumplife.records.phrases import squeeze
from pumplife.records.plant import Plant
from pumplife.records.read import Records, Written, join_records

Frames = dict[str, pd.DataFrame]

_DATED = {
    "issued": "issued_on",
    "readings": "read_on",
    "moves": "moved_on",
    "events": "happened_on",
    "spend": "month",
    "returned": "done_on",
}
"""Rows count from this date on; a row without it is never used."""
_DATED_OR_BLANK = {
    "pumps": "commissioned_on",
    "parts": "valid_from",
    "kits": "valid_from",
    "adopted": "decided_on",
    "compatibility": "confirmed_on",
    "decisions": "decided_on",
    "trials": "started_on",
}
"""The same, a blank date meaning always."""
_LATER_FACTS = ("retired_on", "last_fluid_renewal_on", "last_air_renewal_on")


def cut_records(written: Written, as_of: pd.Timestamp) -> Records:
    """Join the records as they stood at the end of a past day.

    Parameters
    ----------
    written : Written
        The files as read; neither it nor its audit is touched.
    as_of : Timestamp
        The last day that is known; it stands in for records_to.

    Returns
    -------
    Records
        With an audit of its own. The kit fitted on a pump is the last that a ticket names by
        then, else the one in the register.
    """
    tables = dict(written.tables)
    for name, column in _DATED.items():
        day = day_of_copy(tables[name]) if name == "returned" else tables[name][column]
        tables[name] = _keep(tables[name], day <= as_of)
    for name, column in _DATED_OR_BLANK.items():
        tables[name] = _keep(tables[name], ~(tables[name][column] > as_of))
    tables["plan"] = tables["plan"].head(0)
    tables["findings"] = _keep(tables["findings"], _findings_known(tables, as_of))
    tables["rebuilds"] = _keep(tables["rebuilds"], _ticket_day(tables["rebuilds"]) <= as_of)
    for column in _LATER_FACTS:
        dates = tables["pumps"][column]
        tables["pumps"] = tables["pumps"].assign(**{column: dates.where(~(dates > as_of))})
    cut = replace(
        written,
        plant=_plant_then(written.plant, as_of),
        tables=tables,
        counts={name: len(tables[name]) for name in written.counts},
        log=written.log.without_rows(),
    )
    records = join_records(cut)
    return records if records.fatal else _with_kits_then(records)


def _keep(frame: pd.DataFrame, known: "pd.Series[bool]") -> pd.DataFrame:
    return frame[known.astype(bool)].reset_index(drop=True)


def _ticket_day(rebuilds: pd.DataFrame) -> "pd.Series[pd.Timestamp]":
    """The day on which each ticket was whole: closed, or opened where that isn't written."""
    return rebuilds[["opened_on", "closed_on"]].max(axis=1)


def _findings_known(tables: Frames, as_of: pd.Timestamp) -> "pd.Series[bool]":
    """Whether the order of each finding, on its pump where it names one, was written by then."""
    rebuilds, findings = tables["rebuilds"], tables["findings"]
    known = rebuilds[_ticket_day(rebuilds) <= as_of]
    orders, pumps = _bare(known["rebuild_id"]), _bare(known["pump_id"])
    order, pump = _bare(findings["rebuild_id"]), _bare(findings["pump_id"])
    pairs, placed = set(zip(orders, pumps, strict=True)), set(orders[pumps.eq("")])
    of_pump = [pair in pairs for pair in zip(order, pump, strict=True)]
    whole = pump.eq("") & order.isin(set(orders))
    return whole | order.isin(placed) | pd.Series(of_pump, index=findings.index, dtype=bool)


def _bare(names: "pd.Series[str]") -> "pd.Series[str]":
    """Names without case, blanks and marks, so that spellings meet."""
    return names.map({name: squeeze(name) for name in names.unique()}).astype(object)


def _plant_then(plant: Plant, as_of: pd.Timestamp) -> Plant:
    """The plant whose records end on that day, at every site."""
    windows = {
        site: (start, min(end, as_of) if pd.notna(end) else end)
        for site, (start, end) in plant.site_windows.items()
    }
    return replace(plant, records_to=as_of, site_windows=windows)


def _with_kits_then(records: Records) -> Records:
    """The kit last fitted on each side by then, where a ticket tells, in place of today's."""
    rebuilds, kits = records.table("rebuilds"), records.table("kits")
    side = kits.drop_duplicates("kit").set_index("kit")["side"]
    fitted = rebuilds.assign(side=rebuilds["kit"].map(side)).dropna(subset=["side"])
    fitted = fitted[(fitted["pump"] >= 0) & fitted["done"].ne("no")]
    last = fitted.sort_values("opened_on", kind="stable").drop_duplicates(
        ["pump", "side"], keep="last"
    )
    pumps = records.pumps
    for name in ("fluid", "air"):
        seen = last[last["side"] == name].set_index("pump")["kit"]
        then = pumps["pump"].map(seen)
        pumps = pumps.assign(**{f"{name}_kit": then.fillna(pumps[f"{name}_kit"]).astype(object)})
    return replace(records, tables={**records.tables, "pumps": pumps})
