"""What stands in where the plant hasn't written kits, parts or kit contents."""

from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.blanks import blank_table
from pumplife.records.phrases import count_of
from pumplife.records.tables import TABLES

Tables = dict[str, pd.DataFrame]

USUAL_PARTS = (
    ("diaphragm", "fluid", 2),
    ("ball", "fluid", 4),
    ("seat", "fluid", 4),
    ("air valve", "air", 1),
)
"""Part, side and pieces in a pump: common practice for a twin-diaphragm pump."""

_FLUID_WORDS = r"diaphragm|ball|seat|check valve"
_AIR_WORDS = r"valve|pilot|rod seal|bushing|muffler|(?<![a-z])air(?![a-z])"
_STAND_IN = "ASSUMED"


def assume_kits(tables: Tables, log: AuditLog) -> None:
    """Let kits, parts and contents stand in, in place, where a table is missing.

    Without kits, those named in pumps and on orders; without parts, the usual ones; without
    kit_contents, all parts of the kit's side, size and material.

    Parameters
    ----------
    tables : dict of DataFrame
        Linked tables.
    log : AuditLog
        Gets a caution per assumption.
    """
    on_orders: list[str] = []
    if tables["kits"].empty:
        kits = _kits_in_pumps(tables["pumps"])
        found = _kits_on_orders(tables, set(kits["kit"]), log)
        on_orders = list(found["kit"])
        tables["kits"] = _typed("kits", pd.concat([kits, found]) if on_orders else kits, "pumps")
    if tables["parts"].empty:
        _assume_parts(tables, log)
    elif tables["kit_contents"].empty and len(tables["kits"]):
        tables["kit_contents"] = _typed("kit_contents", _contents_from_parts(tables), _STAND_IN)
        _log_contents(log)
    elif on_orders:
        _fill_contents(tables, on_orders)


def _typed(name: str, rows: pd.DataFrame, file: str) -> pd.DataFrame:
    """Give assumed rows the shape of their table; row 0 says that no source has them."""
    table = blank_table(TABLES[name])
    rows = rows.assign(file=file, row=0, plan=False).reindex(columns=table.columns)
    for column in table.columns:
        kind = table[column].dtype
        blank = rows[column].isna() & pd.api.types.is_object_dtype(kind)
        rows[column] = rows[column].mask(blank, "").astype(kind)
    return rows.reset_index(drop=True)


def _kits_in_pumps(pumps: pd.DataFrame) -> pd.DataFrame:
    fitted = [
        pd.DataFrame({"kit": pumps[f"{side}_kit"], "side": side, "size_mm": pumps["size_mm"]})
        for side in ("fluid", "air")
    ]
    rows = pd.concat(fitted, ignore_index=True)
    return rows[~rows["kit"].isin(["", "none"])].drop_duplicates("kit")


def _kits_on_orders(tables: Tables, known: set[str], log: AuditLog) -> pd.DataFrame:
    """Give the kits that only orders name, each with the side that its orders show: kit, side,
    size_mm."""
    rebuilds, pumps = tables["rebuilds"], tables["pumps"]
    named = rebuilds[~rebuilds["kit"].isin(["", "none", *known]) & rebuilds["pump"].ge(0)]
    blamed = named["failed_part"].map(_sides_of_parts(tables, named["failed_part"]))
    size = pumps["size_mm"].to_numpy()[named["pump"].to_numpy()]
    told = named[["kit"]].assign(
        size_mm=size, fluid=blamed.eq("fluid"), air=blamed.eq("air"), orders=1
    )
    kits = told.groupby("kit", as_index=False).agg(
        low=("size_mm", "min"),
        size_mm=("size_mm", "max"),
        fluid=("fluid", "sum"),
        air=("air", "sum"),
        orders=("orders", "sum"),
    )
    kits["size_mm"] = kits["size_mm"].where(kits["size_mm"].eq(kits["low"]))
    by_name = kits["kit"].str.casefold().str.contains(r"(?<![a-z])air(?![a-z])", regex=True)
    airy = kits["air"].gt(kits["fluid"]) | (kits["air"].eq(kits["fluid"]) & by_name)
    kits["side"] = np.where(airy, "air", "fluid")
    kits["side"] = kits["kit"].map(_sides_of_contents(tables)).fillna(kits["side"])
    for kit in kits.to_dict("records"):
        _log_side(kit, log)
    return kits[["kit", "side", "size_mm"]]


def _sides_of_parts(tables: Tables, words: "pd.Series") -> "pd.Series":
    """Give the side of each part blamed: by parts, else by the usual words; NaN = not told."""
    asked = pd.Series(sorted(set(words) - {"", "none"}), dtype=object)
    low = asked.str.casefold()
    fluid = low.str.contains(_FLUID_WORDS, regex=True) | low.eq("all_fluid")
    air = low.str.contains(_AIR_WORDS, regex=True) | low.eq("all_air")
    guessed = np.select([fluid, air], ["fluid", "air"], "")
    listed = tables["parts"].drop_duplicates("part").set_index("part")["side"]
    sides: pd.Series = asked.map(listed).fillna(pd.Series(guessed, dtype=object))
    return sides.mask(sides.eq("")).set_axis(asked)


def _sides_of_contents(tables: Tables) -> "pd.Series":
    """Give the side of each kit whose contents are written, by its first part."""
    contents, parts = tables["kit_contents"], tables["parts"].drop_duplicates("part_no")
    held = contents.merge(parts[["part_no", "side"]], on="part_no")
    sides: pd.Series = held.drop_duplicates("kit").set_index("kit")["side"]
    return sides


def _log_side(kit: dict[Hashable, Any], log: AuditLog) -> None:
    name, side = kit["kit"], kit["side"]
    blamed = f"of the parts blamed on them {kit['fluid']} fluid and {kit['air']} air"
    told = blamed if kit["fluid"] + kit["air"] else "no part blamed on them"
    log.add(
        "caution",
        f"No table lists kit {name}, named on {count_of(kit['orders'], 'order')}: {told}.",
        rule="kit_side_assumed",
        table="kits",
        consequence=f"Kit {name} is taken to renew the {side} side.",
        remedy=f"Write a table kits with kit, side and unit_cost, with a row for {name}, and "
        "kit_contents with what it holds.",
    )


def _assume_parts(tables: Tables, log: AuditLog) -> None:
    """Let the usual parts stand in: a set for each kit, and a loose set for a side that has no
    kit where there is no kit at all or an order blames one of its parts."""
    usual = pd.DataFrame(USUAL_PARTS, columns=["part", "side", "per_pump"])
    kits = tables["kits"]
    kits = kits[~kits["plan"]][["kit", "side", "size_mm", "material", "variant"]]
    bare = usual[~usual["side"].isin(kits["side"])]
    if len(kits):
        bare = bare[bare["part"].isin(tables["rebuilds"]["failed_part"])]
    parts = pd.concat([usual.merge(kits, on="side"), bare.assign(kit="")], ignore_index=True)
    parts["part_no"] = parts["part"] + parts["kit"].map(lambda kit: f" ({kit})" if kit else "")
    tables["parts"] = _typed("parts", parts.assign(wears="yes"), _STAND_IN)
    if len(kits):
        contents = parts[parts["kit"].ne("")].assign(quantity=parts["per_pump"])
        tables["kit_contents"] = _typed("kit_contents", contents, _STAND_IN)
    log.add(
        "caution",
        "There is no table parts.",
        rule="assumed_parts",
        table="parts",
        consequence="Each pump is taken to hold two diaphragms, four balls, four seats and an "
        "air valve, each kit to hold those of its side.",
        remedy="Add parts and kit_contents.",
    )


def _log_contents(log: AuditLog) -> None:
    log.add(
        "caution",
        "There is no table kit_contents.",
        rule="assumed_contents",
        table="kit_contents",
        consequence="Each kit is taken to hold every part that parts lists for the kit's side, "
        "size and material, as many as a pump holds.",
        remedy="Add kit_contents.",
    )


def _fill_contents(tables: Tables, kits: list[str]) -> None:
    """Give the assumed kits that kit_contents doesn't list the parts of their side and size."""
    written = tables["kit_contents"]
    held = _contents_from_parts(tables)
    held = held[held["kit"].isin(set(kits) - set(written["kit"]))]
    if len(held):
        added = _typed("kit_contents", held, _STAND_IN)
        tables["kit_contents"] = pd.concat([written, added], ignore_index=True)


def _contents_from_parts(tables: Tables) -> pd.DataFrame:
    kits = tables["kits"][~tables["kits"]["plan"]]
    parts = tables["parts"][~tables["parts"]["plan"] & tables["parts"]["wears"].ne("no")]
    pairs = kits[["kit", "side", "size_mm", "material"]].merge(
        parts[["part_no", "side", "size_mm", "material", "per_pump"]],
        on="side",
        suffixes=("", "_part"),
    )
    size = pairs["size_mm"].eq(pairs["size_mm_part"])
    size |= pairs["size_mm"].isna() | pairs["size_mm_part"].isna()
    material = pairs["material"].eq(pairs["material_part"])
    material |= pairs["material"].eq("") | pairs["material_part"].eq("")
    return pairs[size & material].rename(columns={"per_pump": "quantity"})
