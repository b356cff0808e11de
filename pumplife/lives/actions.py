"""What each visit did to each position, by the order of evidence: finding, issued, kit contents.

Everything here is what the plant wrote down, brought onto positions; what it means for a
life is decided in `build`.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.lives.positions import kit_parts, wearing_parts
from pumplife.records.read import Records

EVIDENCE = {"kit": 1, "issued": 2, "side": 3, "part": 4, "position": 5}
WORDS = ["action", "found", "mode", "part_no", "material", "variant"]
ACTION_COLUMNS = ["visit", "pos", "evidence", *WORDS]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Actions:
    """Written evidence by position and by part.

    Parameters
    ----------
    slots : DataFrame
        [visit, pos, action (renewed / kept / ""), found, mode, part_no, material, variant,
        kitted] one row per visit and position that the records speak of; `kitted` = the visit's
        kit holds it, `material` and `variant` are those that a finding names.
    counts : DataFrame
        [visit, pump, part, drawn_count, renew_count, fail_count] of n alike, which of them
        not written: drawn from the store or a kit, and renewed and failed by findings.
    kits : DataFrame
        [visit, pump, kit, source (ticket / issued)] kits taken as fitted.
    findings : DataFrame
        [visit, placed (some position of the pump is meant), loose (which of several alike isn't
        written)] by row of the table findings, those of a visit only.
    """

    slots: pd.DataFrame
    counts: pd.DataFrame
    kits: pd.DataFrame
    findings: pd.DataFrame


def visit_of(rows: pd.DataFrame, tickets: pd.DataFrame) -> pd.DataFrame:
    """Rows of findings or issues joined to the visit of their rebuild_id and pump.

    A row without a pump belongs to the order's only visit; where the order covers several
    pumps it can't be placed and is left out.
    """
    written = rows[rows["rebuild_id"] != ""].reset_index(names="origin")
    orders = tickets.loc[
        tickets["rebuild_id"].isin(written["rebuild_id"]), ["rebuild_id", "pump", "visit"]
    ].drop_duplicates()
    several = orders.groupby("rebuild_id")["visit"].transform("nunique") > 1
    joined = written.merge(orders, on="rebuild_id", suffixes=("_written", ""))
    alone = joined["rebuild_id"].isin(orders.loc[~several, "rebuild_id"])
    blank = joined["pump_written"] < 0
    return joined[(joined["pump_written"] == joined["pump"]) | (blank & alone)]


def read_actions(
    records: Records,
    tickets: pd.DataFrame,
    placed: tuple[pd.DataFrame, pd.DataFrame],
    positions: pd.DataFrame,
) -> Actions:
    """Gather kits, issues and findings onto positions; the stronger evidence wins.

    `placed` are the issues and the findings with their visits, see `visit_of`.
    """
    issued = _issued_net(placed[0])
    kits = _kits_fitted(records, tickets, issued)
    kit_slots, kit_counts = _from_kits(records, kits, issued, positions)
    loose_slots, loose_counts = _from_loose_parts(records, issued, positions)
    found_slots, found_counts, findings = _from_findings(records, placed[1], positions)
    slots = pd.concat([kit_slots, loose_slots, found_slots], ignore_index=True)
    counts = pd.concat([kit_counts, loose_counts, found_counts], ignore_index=True)
    numbers = ["drawn_count", "renew_count", "fail_count"]
    counts = counts.groupby(["visit", "pump", "part"], as_index=False)[numbers].sum()
    return Actions(slots=_strongest(slots), counts=counts, kits=kits, findings=findings)


def _issued_net(placed: pd.DataFrame) -> pd.DataFrame:
    """Net quantity per visit and item, returns subtracted: [visit, pump, item, quantity]."""
    return placed.groupby(["visit", "pump", "item"])["quantity"].sum().reset_index()


def _kits_fitted(records: Records, tickets: pd.DataFrame, issued: pd.DataFrame) -> pd.DataFrame:
    done = tickets[tickets["done"] != "no"]
    written = done[~done["kit"].isin(["", "none"])][["visit", "pump", "kit"]]
    blank = done.loc[done["kit"] == "", "visit"]
    known = set(records.table("kits")["kit"]) | set(records.table("kit_contents")["kit"])
    from_store = issued[
        issued["visit"].isin(blank) & issued["item"].isin(known) & (issued["quantity"] >= 1)
    ]
    from_store = from_store.rename(columns={"item": "kit"})[["visit", "pump", "kit"]]
    kits = pd.concat([written.assign(source="ticket"), from_store.assign(source="issued")])
    kits = kits.drop_duplicates(["visit", "kit"]).reset_index(drop=True)
    return _without_overruled(records, kits, issued)


def _without_overruled(records: Records, kits: pd.DataFrame, issued: pd.DataFrame) -> pd.DataFrame:
    """Leave out kits where the store issued loose wearing parts of that side and not the kit."""
    sides = kit_parts(records)[["kit", "side"]].drop_duplicates("kit")
    loose = issued[issued["quantity"] > 0].merge(
        wearing_parts(records), left_on="item", right_on="part_no"
    )
    loose = loose[["visit", "side"]].drop_duplicates().assign(loose=True)
    drawn = issued.rename(columns={"item": "kit"})[["visit", "kit"]].assign(drawn=True)
    marked = kits.merge(sides, on="kit", how="left").merge(loose, on=["visit", "side"], how="left")
    marked = marked.merge(drawn.drop_duplicates(), on=["visit", "kit"], how="left")
    overruled = marked["loose"].notna() & marked["drawn"].isna()
    return kits[~overruled.to_numpy()].reset_index(drop=True)


def _place(rows: pd.DataFrame, positions: pd.DataFrame, evidence: str) -> pd.DataFrame:
    """Rows [visit, pump, part, ...] laid on every position of their part."""
    laid = rows.merge(positions[["pump", "part", "pos"]], on=["pump", "part"])
    silent = dict.fromkeys(("found", "mode", "material", "variant"), "")
    return laid.assign(evidence=EVIDENCE[evidence], **silent)[ACTION_COLUMNS]


def _split_by_count(
    rows: pd.DataFrame, positions: pd.DataFrame, evidence: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Renewed quantities [visit, pump, part, part_no, quantity]: all n alike, or a bare count."""
    n = positions.groupby(["pump", "part"], as_index=False)["n"].first()
    sized = rows.merge(n, on=["pump", "part"])
    total = sized.groupby(["visit", "pump", "part"])["quantity"].transform("sum")
    whole = sized[total >= sized["n"]].drop_duplicates(["visit", "pump", "part"])
    partly = sized[(total < sized["n"]) & (total > 0)]
    drawn = partly.groupby(["visit", "pump", "part"])["quantity"].sum()
    counts = drawn.rename("drawn_count").reset_index()
    return _place(whole.assign(action="renewed"), positions, evidence), counts


def _from_kits(
    records: Records, kits: pd.DataFrame, issued: pd.DataFrame, positions: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    held = kits.merge(kit_parts(records), on="kit")
    back = issued[issued["quantity"] < 0].rename(columns={"item": "part_no", "quantity": "back"})
    held = held.merge(back[["visit", "part_no", "back"]], on=["visit", "part_no"], how="left")
    held["quantity"] = held["quantity"].fillna(np.inf) + held["back"].fillna(0.0)
    return _split_by_count(held, positions, "kit")


def _from_loose_parts(
    records: Records, issued: pd.DataFrame, positions: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    loose = issued[issued["quantity"] > 0].merge(
        wearing_parts(records), left_on="item", right_on="part_no"
    )
    return _split_by_count(loose, positions, "issued")


def _from_findings(
    records: Records, placed: pd.DataFrame, positions: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Findings on positions, as counts of n alike, and what became of each of them."""
    rows = placed.reset_index(drop=True)
    turned = "renewed" if records.plant.turned_is_new else "kept"
    meant = {"cleaned": "kept", "turned": turned}
    rows = rows.assign(action=rows["action"].replace(meant))
    rows["found"] = rows["found"].replace({"not_checked": "", "blocked": ""})
    sides = rows[rows["part"].isin(["all_fluid", "all_air"])]
    parts = rows.drop(index=sides.index)
    by_side = _place_sides(sides, positions)
    joined = parts.merge(
        positions[["pump", "part", "pos", "n", "position"]],
        on=["pump", "part"],
        suffixes=("_written", ""),
    )
    named, suits = _named_positions(joined)
    stray = named & ~suits.groupby(joined["origin"]).transform("any")
    unnamed = joined["position_written"].isin(["unknown", "single"]) | stray
    count = joined["count"].where(~named | stray).where(joined["count"].notna() | ~unnamed, 1.0)
    partial = count.notna() & (count < joined["n"])
    named = named & ~stray
    whole = joined[~partial & ~named].assign(evidence=EVIDENCE["part"])
    exact = joined[named & suits].assign(evidence=EVIDENCE["position"])
    slots = pd.concat([by_side, whole, exact], ignore_index=True)
    counts = joined[partial].assign(count=count[partial]).drop_duplicates("origin")
    told = rows.set_index("origin")[["visit"]].assign(
        placed=rows["origin"].isin([*slots["origin"], *counts["origin"]]).to_numpy(),
        loose=rows["origin"].isin(counts["origin"]).to_numpy(),
    )
    slots = slots.reindex(columns=ACTION_COLUMNS).fillna(dict.fromkeys(WORDS, ""))
    return slots, _finding_counts(counts), told


def _named_positions(joined: pd.DataFrame) -> "tuple[pd.Series[bool], pd.Series[bool]]":
    """Which findings name a position, and which of the part's positions the name suits.

    "left" suits both left positions of four; any name suits a part's single position.
    """
    written, here = joined["position_written"], joined["position"]
    named = ~written.isin(["", "unknown", "single"])
    suits = [
        place in (word, "single") or place.endswith(f"_{word}") or word.endswith(f"_{place}")
        for place, word in zip(here, written, strict=True)
    ]
    return named, named & pd.Series(suits, index=joined.index, dtype=bool)


def _place_sides(sides: pd.DataFrame, positions: pd.DataFrame) -> pd.DataFrame:
    rows = sides.assign(side=sides["part"].str.removeprefix("all_")).drop(columns="part")
    laid = rows.merge(positions[["pump", "side", "pos"]], on=["pump", "side"])
    return laid.assign(evidence=EVIDENCE["side"])


def _finding_counts(rows: pd.DataFrame) -> pd.DataFrame:
    counted = rows.assign(
        renew_count=rows["count"].where(rows["action"] == "renewed", 0.0),
        fail_count=rows["count"].where(rows["found"] == "failed", 0.0),
    )
    columns = ["visit", "pump", "part", "renew_count", "fail_count"]
    return counted[columns]


def _strongest(slots: pd.DataFrame) -> pd.DataFrame:
    """One row per visit and position: the last word on each of action, found and part number."""
    slots = slots.assign(kitted=slots["evidence"] == EVIDENCE["kit"])
    merged = merge_alike(slots, _last_words)
    return merged[["visit", "pos", *WORDS, "kitted"]]


def _last_words(slots: pd.DataFrame) -> pd.DataFrame:
    slots = slots.sort_values("evidence", kind="stable")
    slots[WORDS] = slots[WORDS].where(slots[WORDS] != "")
    grouped = slots.groupby(["visit", "pos"], as_index=False)
    merged = grouped[[*WORDS, "kitted"]].agg({**dict.fromkeys(WORDS, "last"), "kitted": "any"})
    return merged.fillna(dict.fromkeys(WORDS, ""))


def merge_alike(rows: pd.DataFrame, merge: Callable[[pd.DataFrame], pd.DataFrame]) -> pd.DataFrame:
    """Rows sorted by visit and position, those of one visit and position merged into one.

    Most stand alone; only the others go through `merge`.
    """
    visit, pos = (rows[name].to_numpy(np.int64) for name in ("visit", "pos"))
    key = pd.Series(visit * (pos.max(initial=0) + 1) + pos)
    several = key.duplicated(keep=False).to_numpy()
    if several.any():
        rows = pd.concat([rows[~several], merge(rows[several])], ignore_index=True)
        return rows.sort_values(["visit", "pos"], ignore_index=True)
    return rows.iloc[np.argsort(key.to_numpy())].reset_index(drop=True)
