"""Rules over kits, parts and findings: what doesn't fit the pump, the kit or the ticket."""

import numpy as np
import pandas as pd

from pumplife.lives.rules.rule import tell
from pumplife.lives.rules.story import SILENT, Story
from pumplife.records.tables import SIDE_WORDS


def _fitted(story: Story) -> pd.DataFrame:
    """Rows of orders with a listed kit: the ticket's columns, size_mm and material of the kit,
    size of the pump that day."""
    kits = story.records.table("kits").drop_duplicates("kit").set_index("kit")
    rows = story.tickets[story.tickets["kit"].isin(kits.index)]
    pump = rows["pump"].to_numpy(np.int64)
    stint = story.duty.stints.iloc[story.duty.worked_at(pump, rows["day"])]
    return rows.assign(
        size=rows["kit"].map(kits["size_mm"]),
        material=rows["kit"].map(kits["material"]),
        pump_size=stint["size_mm"].to_numpy(),
    )


def find_wrong_size(story: Story) -> pd.DataFrame:
    """Kits of another size than the pump."""
    rows = _fitted(story)
    wrong = rows["size"].notna() & rows["pump_size"].notna() & rows["size"].ne(rows["pump_size"])
    found = rows[wrong]
    what = [
        f"Kit {kit} is of {size:g} mm, the pump of {own:g} mm."
        for kit, size, own in found[["kit", "size", "pump_size"]].itertuples(index=False)
    ]
    return tell(found, "rebuilds", what)


def find_other_family(story: Story) -> pd.DataFrame:
    """A kit material that the pump got once, between two kits of another material."""
    rows = _fitted(story)
    rows = rows[rows["material"].ne("")].reset_index(drop=True)
    rows = rows.sort_values(["pump", "kit_side", "day"], kind="stable", ignore_index=True)
    key = rows["pump"].astype(np.int64) * 2 + rows["kit_side"].eq("air")
    before, after = rows["material"].groupby(key).shift(1), rows["material"].groupby(key).shift(-1)
    pumps, pump = story.records.pumps, rows["pump"].to_numpy(np.int64)
    today = np.where(
        rows["kit_side"].eq("air"),
        pumps["air_kit"].to_numpy(object)[pump],
        pumps["fluid_kit"].to_numpy(object)[pump],
    )
    kits = story.records.table("kits").drop_duplicates("kit").set_index("kit")["material"]
    register = pd.Series(today, index=rows.index, dtype=object).map(kits)
    following = after.where(after.notna(), register)
    known = before.notna() & following.notna()
    odd = known & before.eq(following) & rows["material"].ne(before)
    found = rows[odd]
    what = [
        f"Kit {kit} is of {material}; the pump had {usual} before and after."
        for kit, material, usual in zip(
            found["kit"], found["material"], before[found.index], strict=True
        )
    ]
    return tell(found, "rebuilds", what)


def find_register_behind(story: Story) -> pd.DataFrame:
    """Pumps whose register names a kit of another material than the last one fitted."""
    rows = _fitted(story)
    last = rows.drop_duplicates(["pump", "kit_side"], keep="last")
    pumps, pump = story.records.pumps, last["pump"].to_numpy(np.int64)
    today = np.where(
        last["kit_side"].eq("air"),
        pumps["air_kit"].to_numpy(object)[pump],
        pumps["fluid_kit"].to_numpy(object)[pump],
    )
    kits = story.records.table("kits").drop_duplicates("kit").set_index("kit")["material"]
    register = pd.Series(today, index=last.index, dtype=object)
    own = register.map(kits)
    behind = own.notna() & own.ne("") & last["material"].ne("") & own.ne(last["material"])
    found = last[behind]
    what = [
        f"{side}_kit is {kit}, but the last order on that side fitted {fitted}."
        for side, kit, fitted in zip(
            found["kit_side"], register[found.index], found["kit"], strict=True
        )
    ]
    at = found.assign(row=pumps["row"].to_numpy()[found["pump"]])
    return tell(at, "pumps", what)


def find_part_outside_kit(story: Story) -> pd.DataFrame:
    """Failed parts that no kit of the order holds and no issue or finding speaks of."""
    records = story.records
    parts = records.table("parts")[["part_no", "part"]].drop_duplicates("part_no")
    held = records.table("kit_contents")[["kit", "part_no"]].merge(parts, on="part_no")
    tickets = story.tickets
    kitted = tickets[tickets["kit"].isin(held["kit"])]
    inside = kitted[["place", "kit"]].merge(held[["kit", "part"]], on="kit")[["place", "part"]]
    listed = set(parts["part"])
    unlisted = tickets.loc[~tickets["kit"].isin({*held["kit"], *SILENT}), "place"]
    named = tickets[tickets["failed_part"].isin(listed) & tickets["place"].isin(kitted["place"])]
    named = named[~named["place"].isin(unlisted)].drop_duplicates(["place", "failed_part"])
    named = named[~named["reason"].eq("stoppage")]
    told = pd.concat([inside, _told_otherwise(story, parts)])
    pairs = pd.MultiIndex.from_frame(told.drop_duplicates())
    asked = pd.MultiIndex.from_frame(named[["place", "failed_part"]])
    found = named[pairs.get_indexer(asked) < 0]
    what = [
        f"{part} is named as failed, but no kit of the order holds one."
        for part in found["failed_part"]
    ]
    return tell(found, "rebuilds", what)


def _told_otherwise(story: Story, parts: pd.DataFrame) -> pd.DataFrame:
    """Parts that findings or loose issues of an order speak of: [place, part]."""
    orders = story.orders.reset_index(names="place")[["place", "order"]]
    drawn = story.issued.merge(parts, left_on="item", right_on="part_no")[["order", "part"]]
    told = pd.concat([story.findings[["order", "part"]], drawn])
    whole = told["part"].isin(SIDE_WORDS)
    sides = story.records.table("parts")[["side", "part"]].drop_duplicates()
    spread = told[whole].assign(side=told.loc[whole, "part"].str.removeprefix("all_"))
    spread = spread[["order", "side"]].merge(sides, on="side")[["order", "part"]]
    told = pd.concat([told[~whole], spread]).drop_duplicates()
    return told.merge(orders, on="order")[["place", "part"]]


def _findings_of_orders(story: Story) -> pd.DataFrame:
    """Findings with the failed_part and reason of their order's ticket."""
    orders = story.orders[["order", "pump", "part", "reason"]]
    joined = story.findings.merge(
        orders.rename(columns={"part": "blamed"}), on="order", suffixes=("", "_of")
    )
    return joined[joined["pump"].eq(joined["pump_of"]) | joined["pump"].lt(0)]


def find_blamed_but_sound(story: Story) -> pd.DataFrame:
    """Findings that call every piece of the part blamed sound or worn."""
    rows = _findings_of_orders(story)
    own = rows[rows["part"].eq(rows["blamed"]) & ~rows["reason"].eq("stoppage")]
    looked = own[own["found"].isin(["sound", "worn", "failed"])]
    failed = looked["found"].eq("failed").groupby(looked["order"]).transform("any")
    whole = looked["position"].eq("") & looked["count"].isna()
    covered = whole | (looked.groupby("order")["part"].transform("size") >= _pieces(story, looked))
    found = looked[~failed & covered].drop_duplicates(["order", "part"])
    what = [
        f"The ticket names the {part} as failed; the finding calls it {state}."
        for part, state in zip(found["part"], found["found"], strict=True)
    ]
    return tell(found, "findings", what)


def _pieces(story: Story, rows: pd.DataFrame) -> "pd.Series[float]":
    listed = story.records.table("parts").groupby("part")["per_pump"].max()
    pieces: pd.Series[float] = rows["part"].map(listed).fillna(1.0)
    return pieces


def find_failed_but_none_named(story: Story) -> pd.DataFrame:
    """Findings of a failed part on a ticket that says that no part failed."""
    rows = _findings_of_orders(story)
    tickets = story.tickets
    otherwise = tickets.loc[tickets["failed_part"].ne("none"), "order"]
    none = ~rows["order"].isin(otherwise)
    unsaid = none & rows["found"].eq("failed") & rows["reason"].eq("breakdown")
    found = rows[unsaid].drop_duplicates(["order", "part"])
    what = [f"{part} found failed; the ticket says that none failed." for part in found["part"]]
    return tell(found, "findings", what)


def find_grade_contradicts(story: Story) -> pd.DataFrame:
    """Grades that contradict the state found."""
    findings = story.records.table("findings")
    good = findings["found"].eq("sound") & (findings["grade"] >= 4)
    bad = findings["found"].eq("failed") & (findings["grade"] <= 0)
    beyond = findings["grade"] > 4
    found = findings[good | bad | beyond]
    what = [
        f"{part} found {state} with grade {grade:g}; 0 is like new, 4 is failed."
        for part, state, grade in found[["part", "found", "grade"]].itertuples(index=False)
    ]
    return tell(found, "findings", what)


def find_too_many_pieces(story: Story) -> pd.DataFrame:
    """Findings of more pieces than a pump holds."""
    findings = story.records.table("findings")
    pieces = _pieces(story, findings)
    found = findings[findings["count"] > pieces]
    what = [
        f"{count:g} of {part}; a pump holds {whole:g}."
        for count, part, whole in zip(
            found["count"], found["part"], pieces[found.index], strict=True
        )
    ]
    return tell(found, "findings", what)
