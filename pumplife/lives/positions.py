"""Which wearing positions each pump has: the places where a part's life can begin and end."""

from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.records.read import Records

Ints = NDArray[np.int64]

LABELS = {
    1: ("single",),
    2: ("left", "right"),
    4: ("suction_left", "suction_right", "discharge_left", "discharge_right"),
}


class _Same:
    """A table that is known again: what is made of it is made once."""

    def __init__(self, table: pd.DataFrame) -> None:
        self.table = table

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.table is self.table

    def __hash__(self) -> int:
        return id(self.table)


def wearing_parts(records: Records) -> pd.DataFrame:
    """Part numbers whose lives are fitted.

    [part_no, part, side, material, variant, size_mm, per_pump, releases]; `releases` = its
    failure lets process fluid out, yes for a diaphragm where nobody wrote otherwise.
    """
    return _wearing(_Same(records.table("parts"))).copy()


@lru_cache(maxsize=2)
def _wearing(same: _Same) -> pd.DataFrame:
    parts = same.table
    usual = parts["part"].str.contains("diaphragm", case=False)
    told = parts["releases_fluid"]
    parts = parts.assign(releases=(told == "yes") | ((told == "") & usual))
    wears = parts[(parts["wears"] == "yes") | (parts["wears"] == "")]
    columns = ["part_no", "part", "side", "material", "variant", "size_mm", "per_pump", "releases"]
    return wears[columns].drop_duplicates("part_no").reset_index(drop=True)


def kit_parts(records: Records) -> pd.DataFrame:
    """Wearing parts in each kit: [kit, part_no, quantity] and what `wearing_parts` says of them."""
    return _held(_Same(records.table("kit_contents")), _Same(records.table("parts"))).copy()


@lru_cache(maxsize=2)
def _held(contents: _Same, parts: _Same) -> pd.DataFrame:
    written = contents.table[["kit", "part_no", "quantity"]]
    joined = written.merge(_wearing(parts), on="part_no")
    return joined.drop_duplicates(["kit", "part_no"]).reset_index(drop=True)


def _kits_of_pumps(records: Records, pumps: Ints, tickets: pd.DataFrame) -> pd.DataFrame:
    """Every kit that a pump carries today or has had fitted: [pump, kit]."""
    register = records.pumps.iloc[pumps]
    today = [
        pd.DataFrame({"pump": pumps, "kit": register[column].to_numpy(object)})
        for column in ("fluid_kit", "air_kit")
    ]
    fitted = tickets[["pump", "kit"]]
    kits = pd.concat([*today, fitted], ignore_index=True)
    return kits[~kits["kit"].isin(["", "none"]) & (kits["pump"] >= 0)].drop_duplicates()


def _parts_by_size(records: Records, pump: np.ndarray) -> pd.DataFrame:
    """For these pumps, the wearing parts of their size (or of no stated size)."""
    sizes = pd.DataFrame({"pump": pump, "pump_size": records.pumps["size_mm"].to_numpy()[pump]})
    pairs = sizes.merge(wearing_parts(records), how="cross")
    fits = pairs["size_mm"].isna() | pairs["pump_size"].isna()
    return pairs[fits | (pairs["size_mm"] == pairs["pump_size"])]


def pump_parts(
    records: Records, pumps: Ints, tickets: pd.DataFrame, named: pd.DataFrame
) -> pd.DataFrame:
    """Wearing parts of these pumps: [pump, part, side, n, releases].

    `tickets` [pump, kit], `named` [pump, part] parts that tickets or findings name.
    A pump's parts are those of its kits and those named on its own tickets; a side without
    any kit takes every wearing part of the pump's size.
    """
    from_kits = _kits_of_pumps(records, pumps, tickets).merge(kit_parts(records), on="kit")
    by_size = _parts_by_size(records, pumps)
    kitted = from_kits[["pump", "side"]].drop_duplicates().assign(has_kit=True)
    bare = by_size.merge(kitted, on=["pump", "side"], how="left")
    bare = bare[bare["has_kit"].isna()]
    spoken = by_size.merge(named.drop_duplicates(), on=["pump", "part"])
    columns = ["pump", "part", "side", "per_pump", "releases"]
    every = pd.concat([from_kits[columns], bare[columns], spoken[columns]], ignore_index=True)
    grouped = every.groupby(["pump", "part"], as_index=False).agg(
        side=("side", "first"), n=("per_pump", "max"), releases=("releases", "any")
    )
    grouped["n"] = grouped["n"].fillna(1).clip(lower=1).astype(int)
    return grouped


def build_positions(parts_of_pumps: pd.DataFrame) -> pd.DataFrame:
    """One row per wearing position: [pump, part, side, slot, n, position, releases], sorted."""
    n = parts_of_pumps["n"].to_numpy(int)
    rows = np.repeat(np.arange(len(parts_of_pumps)), n)
    positions = parts_of_pumps.iloc[rows].reset_index(drop=True)
    slot = np.arange(len(rows)) - np.repeat(np.cumsum(n) - n, n)
    positions["slot"] = slot
    positions["position"] = [
        LABELS.get(count, ("unknown",) * count)[place]
        for count, place in zip(positions["n"], slot, strict=True)
    ]
    return positions


def first_part_numbers(
    records: Records, positions: pd.DataFrame, tickets: pd.DataFrame
) -> pd.DataFrame:
    """What sat in each position at the start: [part_no, kit, assumed, stale], as `positions`.

    The kit that the register names, where no ticket names another. A register that the pump's
    last ticket agrees with tells what is fitted today: at first it was the kit of the first
    ticket. One that the last ticket contradicts was not kept up: it tells what the pump came
    with. Either way marked assumed where it differs from the first ticket's kit.
    """
    inside = kit_parts(records)
    sides = inside[["kit", "side"]].drop_duplicates()
    fitted = tickets[~tickets["kit"].isin(["", "none"])].merge(sides, on="kit")
    fitted = fitted.sort_values("day", kind="stable")
    first = fitted.drop_duplicates(["pump", "side"])
    last = fitted.drop_duplicates(["pump", "side"], keep="last").rename(columns={"kit": "last"})
    pumps = records.pumps
    today = pd.concat(
        [
            pd.DataFrame({"pump": np.arange(len(pumps)), "side": side, "today": pumps[column]})
            for side, column in (("fluid", "fluid_kit"), ("air", "air_kit"))
        ]
    )
    keyed = positions[["pump", "part", "side"]].merge(today, on=["pump", "side"], how="left")
    keyed = keyed.merge(first[["pump", "side", "kit"]], on=["pump", "side"], how="left")
    keyed = keyed.merge(last[["pump", "side", "last"]], on=["pump", "side"], how="left")
    keyed = keyed.fillna({"kit": "", "today": "", "last": ""})
    differs = (keyed["today"] != "") & (keyed["kit"] != "") & (keyed["kit"] != keyed["today"])
    keyed["assumed"] = differs
    keyed["stale"] = differs & (keyed["last"] != keyed["today"])
    keyed["kit"] = keyed["kit"].where((keyed["kit"] != "") & ~keyed["stale"], keyed["today"])
    by_part = inside.drop_duplicates(["kit", "part"])[["kit", "part", "part_no"]]
    found = keyed.merge(by_part, on=["kit", "part"], how="left")
    loose = _only_part_number(records, positions)
    found["part_no"] = found["part_no"].fillna(pd.Series(loose, index=found.index)).fillna("")
    return found[["part_no", "kit", "assumed", "stale"]]


def _only_part_number(records: Records, positions: pd.DataFrame) -> list[str]:
    """The part number of a loose part where the pump's size leaves one choice, else blank."""
    keyed = positions[["pump", "part"]].drop_duplicates()
    sized = _parts_by_size(records, keyed["pump"].unique()).merge(keyed, on=["pump", "part"])
    choice = sized.drop_duplicates(["pump", "part", "part_no"])
    choice = choice[~choice.duplicated(["pump", "part"], keep=False)]
    single = choice[["pump", "part", "part_no"]].rename(columns={"part_no": "loose"})
    merged = positions[["pump", "part"]].merge(single, on=["pump", "part"], how="left")
    return list(merged["loose"].fillna(""))
