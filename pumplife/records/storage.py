"""How long kits and parts may lie in a store, and which bags on the shelf have expired."""

import math

import numpy as np
import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.phrases import count_of, list_some
from pumplife.records.plant import Plant
from pumplife.records.polymers import UNKNOWN, StorageLife, own_storage_years, storage_of

Tables = dict[str, pd.DataFrame]

USABLE, EXPIRED, NO_DATE = "usable", "expired", "no cure date"
"""Standing of a bag on the last day of the records."""


def check_stores(tables: Tables, plant: Plant, log: AuditLog) -> None:
    """Say what on the shelf isn't a whole piece, has expired or bears no date; keep whole pieces.

    Parameters
    ----------
    tables : dict of DataFrame
        Linked tables; on_hand and on_order are left with whole pieces.
    plant : Plant
    log : AuditLog
        Gets a row for each.
    """
    for name in ("on_hand", "on_order"):
        tables[name] = _keep_whole(tables[name], name, log)
        _name_idle_stores(tables, name, log)
    for name, key in (("kits", "kit"), ("parts", "part_no")):
        _say_rounded_up(tables[name], name, key, log)
    _name_late_orders(tables["on_order"], plant, log)
    _ask_materials(tables, plant, log)
    bags = list_bags(tables, plant)
    late = bags[bags["standing"].eq(EXPIRED) & bags["quantity"].gt(0)]
    log.add_rows(
        late,
        severity="caution",
        rule="expired_stock",
        table="on_hand",
        what=[
            f"{count:g} of {item} at {store} expired on {day:%Y-%m-%d} ({because})."
            for count, item, store, day, because in late[
                ["quantity", "item", "store", "expires_on", "because"]
            ].itertuples(index=False)
        ],
        consequence="They don't count as stock.",
        remedy=[_renew(years) for years in late["extension_years"]],
    )
    bare = bags[bags["standing"].eq(NO_DATE) & bags["cure_date"].isna() & bags["quantity"].gt(0)]
    log.add_rows(
        bare,
        severity="caution",
        rule="no_cure_date",
        table="on_hand",
        what=[
            f"{count:g} of {item} at {store} bear no cure date; such may lie {years:g} years."
            for count, item, store, years in bare[
                ["quantity", "item", "store", "years"]
            ].itertuples(index=False)
        ],
        consequence="They count as usable; when they expire isn't known.",
        remedy="Read the date on the bag (quarter and year) and write cure_date.",
    )


def _name_late_orders(rows: pd.DataFrame, plant: Plant, log: AuditLog) -> None:
    """Name the orders that should have come before the records end."""
    late = rows[rows["expected_on"].lt(plant.records_to) & rows["quantity"].gt(0)]
    log.add_rows(
        late,
        severity="caution",
        rule="order_late",
        table="on_order",
        what=[
            f"{count:g} of {item} for {store} {'was' if count == 1 else 'were'} expected on "
            f"{day:%Y-%m-%d}, before the records end."
            for count, item, store, day in late[
                ["quantity", "item", "store", "expected_on"]
            ].itertuples(index=False)
        ],
        consequence="They count as on their way, and there from the first day on.",
        remedy="Book them in, take the row out, or write the day that the supplier gives now.",
    )


def _renew(extension: float) -> str:
    """What can be done with expired stock."""
    if math.isnan(extension):
        return "Take it out of use, or ask the supplier whether inspection may extend it."
    return (
        f"Take it out of use, or inspect and test it as the standard says: that may add "
        f"{extension:g} years (then write shelf_life_years in parts)."
    )


def _name_idle_stores(tables: Tables, name: str, log: AuditLog) -> None:
    """Name the stores with stock or orders that serve no pump: the first row of each."""
    serving: set[str] = set()
    for table in ("pumps", "moves"):
        duty = tables[table]
        serving |= set(duty["store"].mask(duty["store"].eq(""), duty["site"]))
    rows = tables[name]
    idle = rows[~rows["store"].isin(serving) & rows["quantity"].gt(0)]
    counts = idle["store"].value_counts()
    first = idle.drop_duplicates("store")
    log.add_rows(
        first,
        severity="caution",
        rule="store_without_pumps",
        table=name,
        what=[
            f"Store {store} ({count_of(int(counts[store]), 'row')}) serves no pump; pumps have "
            f"{list_some(sorted(serving - {''}))}."
            for store in first["store"]
        ],
        consequence="What it holds meets no demand: levels and orders of the other stores are as "
        "if it weren't there, but for surplus that can be moved.",
        remedy="Write the store into the column store of the pumps that it serves (a blank means "
        "the store named like the site), or correct the name.",
    )


def _keep_whole(frame: pd.DataFrame, name: str, log: AuditLog) -> pd.DataFrame:
    broken = frame["quantity"].mod(1.0).gt(0)
    whole = np.floor(frame["quantity"])
    log.add_rows(
        frame[broken],
        severity="caution",
        rule="fractional_quantity",
        table=name,
        what=[
            f"{item}: {count:g} is no whole number of pieces."
            for item, count in frame.loc[broken, ["item", "quantity"]].itertuples(index=False)
        ],
        consequence=[f"{count:g} whole ones count." for count in whole[broken]],
        remedy="Write whole pieces; for goods by length or weight, pieces cut to size.",
    )
    return frame.assign(quantity=whole)


def _say_rounded_up(frame: pd.DataFrame, name: str, key: str, log: AuditLog) -> None:
    """Name least orders that are no whole number of pieces; the next whole number counts."""
    broken = frame[frame["min_order"].mod(1.0).gt(0)]
    log.add_rows(
        broken,
        severity="caution",
        rule="fractional_quantity",
        table=name,
        what=[
            f"{item}: a least order of {count:g} is no whole number of pieces."
            for item, count in broken[[key, "min_order"]].itertuples(index=False)
        ],
        consequence=[f"{count:g} is taken." for count in np.ceil(broken["min_order"])],
        remedy="Write whole pieces in min_order.",
    )


def _ask_materials(tables: Tables, plant: Plant, log: AuditLog) -> None:
    """Ask once per material how long it may be stored, where neither plant nor list says it."""
    parts = tables["parts"]
    if "material" not in parts or parts.empty:
        return
    lives = _part_lives(parts, plant)
    asked = parts[parts["material"].ne("") & lives["years"].isna().to_numpy()]
    first = asked.drop_duplicates("material")
    count = asked.groupby("material")["part_no"].nunique()
    log.add_rows(
        first,
        severity="note",
        rule="storage_life_unknown",
        table="parts",
        what=[
            f"How long {material} may be stored is in no list here ({part_no}"
            f"{f' and {count[material] - 1} more' if count[material] > 1 else ''})."
            for material, part_no in first[["material", "part_no"]].itertuples(index=False)
        ],
        consequence="It counts as usable without an end; its kits expire with their other parts.",
        remedy="Ask the supplier; write shelf_life_years in parts, or [storage] years in "
        "plant.toml.",
    )


def _part_lives(parts: pd.DataFrame, plant: Plant) -> pd.DataFrame:
    """years, extension_years and because of each row of parts."""
    own = own_storage_years(plant.raw)
    by_material = {name: storage_of(name, own) for name in parts["material"].unique()}
    lives = [
        StorageLife(float(years), because="shelf_life_years in parts")
        if not math.isnan(years)
        else by_material[material]
        for years, material in parts[["shelf_life_years", "material"]].itertuples(index=False)
    ]
    return pd.DataFrame(lives, columns=list(StorageLife._fields), index=parts.index)


def storage_lives(tables: Tables, plant: Plant) -> dict[str, StorageLife]:
    """Give the storage life of every kit and part by its number.

    A kit expires with the shortest-lived of its parts whose storage life is known.

    Parameters
    ----------
    tables : dict of DataFrame
        Linked tables.
    plant : Plant
        Its [storage] comes before the list of polymers, shelf_life_years in parts before both.
    """
    parts = tables["parts"]
    parts = parts[~parts["plan"]].drop_duplicates("part_no", keep="last")
    lives = _part_lives(parts, plant).assign(part_no=parts["part_no"].to_numpy())
    known = {
        str(part_no): StorageLife(years, extension, because)
        for part_no, years, extension, because in lives[
            ["part_no", *StorageLife._fields]
        ].itertuples(index=False)
    }
    held = tables["kit_contents"][["kit", "part_no"]].merge(lives, on="part_no")
    held = held[held["years"].notna()].sort_values(["kit", "years", "part_no"], kind="stable")
    shortest = held.drop_duplicates("kit")
    kits = {
        str(kit): StorageLife(years, extension, f"its {part_no}: {because}")
        for kit, part_no, years, extension, because in shortest[
            ["kit", "part_no", *StorageLife._fields]
        ].itertuples(index=False)
    }
    return {str(kit): UNKNOWN for kit in tables["kits"]["kit"]} | known | kits


def list_bags(tables: Tables, plant: Plant) -> pd.DataFrame:
    """List what lies in the stores, with the day on which it expires.

    Returns
    -------
    DataFrame
        Rows of on_hand with years, extension_years and because (see `StorageLife`), expires_on
        (NaT: no limit, or not known) and standing: expired before the end of the records, no
        cure date (none written, or one after the end of the records) though it may expire,
        else usable.
    """
    bags = tables["on_hand"]
    lives = storage_lives(tables, plant)
    found = [lives.get(str(item), UNKNOWN) for item in bags["item"]]
    bags = bags.assign(
        years=np.array([life.years for life in found], dtype=np.float64),
        extension_years=np.array([life.extension_years for life in found], dtype=np.float64),
        because=np.array([life.because for life in found], dtype=object),
    )
    cured = bags["cure_date"].mask(bags["cure_date"] > plant.records_to)
    expires = add_years(cured, bags["years"].to_numpy(np.float64))
    limited = np.isfinite(bags["years"])
    standing = np.select(
        [limited & cured.isna(), expires < plant.records_to], [NO_DATE, EXPIRED], USABLE
    )
    return bags.assign(expires_on=expires, standing=standing.astype(object))


def add_years(day: "pd.Series", years: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> pd.Series:
    """Add years, to the month, to dates; NaT where either isn't known or there is no limit.

    The 31st becomes the last day of a shorter month.
    """
    known = day.notna().to_numpy() & np.isfinite(years)
    start = day.to_numpy("datetime64[D]")[known]
    month = start.astype("datetime64[M]")
    later = month + np.round(12.0 * years[known]).astype(np.int64)
    last = (later + 1).astype("datetime64[D]") - np.timedelta64(1, "D")
    moved = np.minimum(
        later.astype("datetime64[D]") + (start - month.astype("datetime64[D]")), last
    )
    found = np.full(len(day), np.datetime64("NaT"), dtype="datetime64[ns]")
    found[known] = moved
    return pd.Series(found, index=day.index)
