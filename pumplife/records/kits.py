"""What is in a kit: filled in where the plant hasn't said it, and checked."""

import numpy as np
import pandas as pd

from pumplife.records.assumed import assume_kits
from pumplife.records.audit import SET_ASIDE, AuditLog
from pumplife.records.columns import set_aside
from pumplife.records.phrases import count_of

Tables = dict[str, pd.DataFrame]


def complete_kits(tables: Tables, log: AuditLog) -> None:
    """Fill in kits, parts and kit contents where a table is missing, and check them."""
    assume_kits(tables, log)
    _drop_kits_in_kits(tables, log)
    _drop_unknown_parts(tables, log)
    _note_loose_parts(tables, log)
    _check_fitted_kits(tables, log)
    _check_sides(tables, log)
    _check_items(tables, log)
    _check_counts(tables, log)


def _drop_kits_in_kits(tables: Tables, log: AuditLog) -> None:
    """Set aside contents that are kits themselves, and say where a kit leads back to itself."""
    contents = tables["kit_contents"]
    parts = tables["parts"]["part_no"]
    nested = contents["part_no"].isin(contents["kit"]) & ~contents["part_no"].isin(parts)
    pairs = contents[nested]
    back = _lead_back(pairs)
    for looped, rule in ((True, "kit_holds_itself"), (False, "kit_in_kit")):
        rows = pairs[back == looped]
        end = ", and so itself" if looped else ", which is a kit"
        log.add_rows(
            rows,
            severity="caution",
            rule=rule,
            table="kit_contents",
            what=[
                f"Kit {kit} holds {'itself' if kit == part else part + end}."
                for kit, part in rows[["kit", "part_no"]].itertuples(index=False)
            ],
            consequence=SET_ASIDE,
            remedy="Write the parts that are in it instead.",
        )
    tables["kit_contents"] = contents[~nested].reset_index(drop=True)


def _lead_back(pairs: pd.DataFrame) -> "pd.Series[bool]":
    """Say of each kit in a kit whether the chain of contents comes back to the outer one."""
    inside = pairs.groupby("kit")["part_no"].agg(set).to_dict()
    found = []
    for kit, part in pairs[["kit", "part_no"]].itertuples(index=False):
        seen: set[str] = set()
        ahead = {part}
        while ahead:
            seen |= ahead
            ahead = set().union(*(inside.get(one, set()) for one in ahead)) - seen
        found.append(kit in seen)
    return pd.Series(found, index=pairs.index, dtype=bool)


def _note_loose_parts(tables: Tables, log: AuditLog) -> None:
    parts, contents = tables["parts"], tables["kit_contents"]
    loose = parts[~parts["part_no"].isin(contents["part_no"]) & parts["wears"].ne("no")]
    loose = loose[~loose["plan"] & loose["superseded_by"].eq("")].drop_duplicates("part_no")
    log.add_rows(
        loose,
        severity="note",
        rule="part_in_no_kit",
        table="parts",
        what=[
            f"{part_no} ({part}) is in no kit."
            for part_no, part in loose[["part_no", "part"]].itertuples(index=False)
        ],
        consequence="No kit renews it; it is kept and ordered loose.",
        remedy="Add it to kit_contents if a kit holds it.",
    )


def _drop_unknown_parts(tables: Tables, log: AuditLog) -> None:
    contents = tables["kit_contents"]
    unknown = ~contents["part_no"].isin(tables["parts"]["part_no"])
    tables["kit_contents"] = set_aside(
        contents,
        unknown,
        log,
        table="kit_contents",
        rule="unknown_part_no",
        what=[
            f"Kit {kit} holds {part}, which is not in parts."
            for kit, part in contents.loc[unknown, ["kit", "part_no"]].itertuples(index=False)
        ],
        remedy="Add the part_no to parts.",
    )


def _check_fitted_kits(tables: Tables, log: AuditLog) -> None:
    """Name the kits in pumps and rebuilds that aren't listed or hold nothing known."""
    listed, filled = set(tables["kits"]["kit"]), set(tables["kit_contents"]["kit"])
    for name, column in (
        ("pumps", "fluid_kit"),
        ("pumps", "air_kit"),
        ("rebuilds", "kit"),
    ):
        counts = tables[name][column].value_counts().sort_index()
        for kit, count in counts.drop(labels=["", "none"], errors="ignore").items():
            if kit in listed and kit in filled:
                continue
            gap = "has no contents in kit_contents" if kit in listed else "is not in kits"
            log.add(
                "caution",
                f"{name}.{column} {kit} ({count_of(count, 'row')}) {gap}.",
                rule="unknown_kit",
                table=name,
                consequence="Fitting it renews nothing known.",
                remedy="Add the kit to kits and its parts to kit_contents.",
            )


def _check_sides(tables: Tables, log: AuditLog) -> None:
    """Name the pumps whose kit is one of the other side or of another size."""
    pumps, kits = tables["pumps"], tables["kits"].drop_duplicates("kit").set_index("kit")
    for side in ("fluid", "air"):
        fitted = pumps[f"{side}_kit"]
        own, size = fitted.map(kits["side"]), fitted.map(kits["size_mm"])
        other_size = size.notna() & pumps["size_mm"].notna() & size.ne(pumps["size_mm"])
        for wrong, gap in ((own.notna() & own.ne(side), "side"), (other_size, "size_mm")):
            log.add_rows(
                pumps[wrong],
                severity="caution",
                rule="kit_misfit",
                table="pumps",
                what=[f"{side}_kit {kit} has another {gap} in kits." for kit in fitted[wrong]],
                consequence="The row is used as it is written.",
                remedy="Correct the kit in pumps or its row in kits.",
            )


def _check_items(tables: Tables, log: AuditLog) -> None:
    """Name the stock items that are neither a kit nor a part."""
    known = {*tables["kits"]["kit"], *tables["parts"]["part_no"]}
    for name in ("issued", "on_hand", "on_order"):
        rows = tables[name]
        rows = rows[~rows["item"].isin(known)]
        counts = rows["item"].value_counts()
        first = rows.drop_duplicates("item").sort_values("item", kind="stable")
        log.add_rows(
            first.drop(columns="pump_id", errors="ignore"),
            severity="caution",
            rule="unknown_item",
            table=name,
            what=[
                f"{name}: {item} ({count_of(int(counts[item]), 'row')}) is neither in kits nor in "
                "parts."
                for item in first["item"]
            ],
            consequence="Nothing is known to be renewed with it, and no level is advised.",
            remedy="Add it to kits or parts.",
        )


def _check_counts(tables: Tables, log: AuditLog) -> None:
    """Say where a fluid kit doesn't hold the usual pieces or not all of a part."""
    parts = tables["parts"].drop_duplicates("part_no").set_index("part_no")
    contents = tables["kit_contents"].join(parts[["part", "per_pump", "side"]], on="part_no")
    short = contents["quantity"].ne(contents["per_pump"])
    log.add_rows(
        contents[short],
        severity="caution",
        rule="kit_count",
        table="kit_contents",
        what=[
            f"Kit {kit} holds {held:g} of {part}; a pump holds {whole:g}."
            for kit, part, held, whole in contents.loc[
                short, ["kit", "part_no", "quantity", "per_pump"]
            ].itertuples(index=False)
        ],
        consequence="Fitting the kit renews the pieces it holds, no more than the pump has.",
        remedy="Correct quantity in kit_contents or per_pump in parts.",
    )
    fluid = contents[contents["side"].eq("fluid")]
    for word, usual in (("diaphragm", 2), ("ball", 4), ("seat", 4)):
        _note_unusual(fluid, word, usual, log)


def _note_unusual(contents: pd.DataFrame, word: str, usual: int, log: AuditLog) -> None:
    plain = ~contents["part"].str.contains(r"ring|gasket|backup|back-up", regex=True)
    counted = contents["quantity"].where(contents["part"].str.contains(word) & plain, 0.0)
    held = counted.groupby(contents["kit"]).sum()
    for kit, count in held[~np.isclose(held, usual)].items():
        log.add(
            "note",
            f"Fluid kit {kit} holds {count:g} of {word}; a twin-diaphragm pump has {usual}.",
            rule="kit_count",
            table="kit_contents",
            remedy="Correct kit_contents, if that is a mistake.",
        )
