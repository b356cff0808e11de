"""Today's files with one cause of change put back to what an older study read."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.phrases import squeeze
from pumplife.records.plant import build_plant
from pumplife.records.read import Written
from pumplife.since.partition import (
    PLAN,
    PRICE_COLUMNS,
    PRICES,
    RECORDS,
    RETIREMENT,
    ROWS_TO_COME,
    SETTINGS,
    TABLE_CAUSES,
    join_settings,
    split_settings,
)

ALWAYS = pd.Timestamp("1900-01-01")
"""Stands in for a blank valid_from."""
_PLACE = ["file", "row"]
"""Columns that say where a row is written, not what."""


def changed_causes(new: Written, old: Written) -> tuple[str, ...]:
    """Which of records, plan, prices and settings differ, in the order of swapping.

    Parameters
    ----------
    new, old : Written
        The files of today and of the older study.

    Returns
    -------
    tuple of str
    """
    others = (PLAN, PRICES, SETTINGS)
    found = [cause for cause in others if not same_content(put_back(new, old, {cause}), new)]
    if not same_content(put_back(new, old, others), old):
        found.insert(0, RECORDS)
    return tuple(found)


def put_back(new: Written, old: Written, causes: Collection[str]) -> Written:
    """Today's files with plan, prices or settings as they were.

    A kit, part or pump that the older files don't know keeps its price of today. What was planned
    for days that the records cover by now is not put back.

    Parameters
    ----------
    new, old : Written
        The files of today and of the older study; neither is touched.
    causes : collection of str
        What is put back: any of plan, prices, settings.

    Returns
    -------
    Written
        With an audit of its own.
    """
    tables = dict(new.tables)
    for name, columns in PRICE_COLUMNS.items() if PRICES in causes else ():
        tables[name] = _with_prices(tables[name], old.tables[name], name, columns)
    if PLAN in causes:
        _put_plans_back(tables, old, new.plant.records_to)
    parts, then = split_settings(new.plant.raw), split_settings(old.plant.raw)
    raw = join_settings({**parts, **{cause: then[cause] for cause in causes}})
    planned = frozenset(name for name, cause in TABLE_CAUSES.items() if cause in causes)
    return replace(
        new,
        plant=replace(
            build_plant(raw, "plant.toml", AuditLog()), records_from=new.plant.records_from
        ),
        tables=tables,
        given=(new.given - planned) | (old.given & planned),
        log=new.log.without_rows(),
    )


def same_content(one: Written, two: Written) -> bool:
    """Whether two plants say the same, wherever in the files it stands."""
    return one.plant.raw == two.plant.raw and all(
        _same_rows(one.tables[name], two.tables[name]) for name in one.tables
    )


def _same_rows(one: pd.DataFrame, two: pd.DataFrame) -> bool:
    if one is two:
        return True
    first, second = (
        frame.drop(columns=_PLACE, errors="ignore").reset_index(drop=True) for frame in (one, two)
    )
    return (first.empty and second.empty) or first.equals(second)


def _put_plans_back(tables: dict[str, pd.DataFrame], old: Written, last: pd.Timestamp) -> None:
    for name, cause in TABLE_CAUSES.items():
        if cause == PLAN:
            tables[name] = old.tables[name]
    name, column = RETIREMENT
    pumps, then = tables[name], old.tables[name].drop_duplicates("pump_id")
    to_come = then.loc[then[column] > last].set_index("pump_id")[column]
    known = pumps[column].where(~(pumps[column] > last))
    back = pumps["pump_id"].map(to_come).astype(pumps[column].dtype)
    tables[name] = pumps.assign(**{column: known.fillna(back)})
    for name, column in ROWS_TO_COME.items():
        tables[name] = _with_rows_to_come(tables[name], old.tables[name], column, last)


def _with_rows_to_come(
    new: pd.DataFrame, old: pd.DataFrame, column: str, last: pd.Timestamp
) -> pd.DataFrame:
    """Rows of today up to the last day, and those that the older files had planned beyond it."""
    now, coming = new[~(new[column] > last)], old[old[column] > last]
    if column == "commissioned_on":  # a pump that works by now is planned no more
        coming = coming[~coming["pump_id"].isin(now["pump_id"])]
    if coming.empty:
        return now.reset_index(drop=True)
    joined = pd.concat([now, coming.reindex(columns=now.columns)]) if len(now) else coming
    return joined.sort_values("row", kind="stable").reset_index(drop=True)


def _with_prices(
    new: pd.DataFrame, old: pd.DataFrame, name: str, columns: tuple[str, ...]
) -> pd.DataFrame:
    """Rows of today at the prices that the older files give for the same day."""
    if new.empty or old.empty:
        return new
    key = {"kits": "kit", "parts": "part_no"}.get(name, "pump_id")
    day = {"kits": "valid_from", "parts": "valid_from", "moves": "moved_on"}.get(name)
    ours, theirs = _dated(new, key, day), _dated(old, key, day)
    found = pd.merge_asof(
        ours.assign(place=range(len(ours))).sort_values("day", kind="stable"),
        theirs.assign(known=True, **{one: old[one] for one in columns}).sort_values(
            "day", kind="stable"
        ),
        on="day",
        by="name",
        tolerance=pd.Timedelta(0) if name == "moves" else None,  # a move's blank is no price
    ).sort_values("place")
    known = found["known"].notna().to_numpy()
    return new.assign(
        **{
            one: new[one].mask(known, pd.Series(found[one].to_numpy(), new.index))
            for one in columns
        }
    )


def _dated(frame: pd.DataFrame, key: str, day: str | None) -> pd.DataFrame:
    """Name and day of each row; a blank day means always."""
    days = frame[day].fillna(ALWAYS) if day else pd.Series(ALWAYS, index=frame.index)
    return pd.DataFrame({"name": frame[key].map(squeeze), "day": days.astype("datetime64[ns]")})
