"""The lives table in the plant's words: what was fitted where, and how each life reads."""

import numpy as np
import pandas as pd

from pumplife.lives.days import date_of
from pumplife.lives.history import History
from pumplife.lives.points import BEGIN, Points
from pumplife.lives.positions import wearing_parts

LIFE_COLUMNS = [
    "pump_id", "site", "service", "size_mm", "side", "part", "position", "material",
    "start_on", "end_on", "entry", "lower", "upper", "outcome", "mode", "endpoint",
    "usage_grade", "source_rows", "share_failed", "variant", "part_no", "kit", "event", "pump",
]  # fmt: skip


def fitted_after(history: History, points: Points) -> pd.DataFrame:
    """What is in place after each point: [part_no, kit, material, variant], rows as `points`."""
    first = history.first
    words = np.append(history.marks["part_no"].to_numpy(object), "")[points.mark]
    words = np.where(points.kind == BEGIN, first["part_no"].to_numpy(object)[points.pos], words)
    place = np.arange(len(words))
    latest = np.maximum.accumulate(np.where((words != "") | (points.kind == BEGIN), place, 0))
    part_no = words[latest]
    parts = wearing_parts(history.records).set_index("part_no")[["material", "variant"]]
    about = parts.reindex(part_no).fillna("").reset_index(drop=True)
    kit = history.actions.kits.drop_duplicates("visit").set_index("visit")["kit"]
    fitted_kit = pd.Series(points.visit).map(kit).fillna("").to_numpy(object)
    fitted_kit = np.where(
        points.kind == BEGIN, first["kit"].to_numpy(object)[points.pos], fitted_kit
    )
    return about.assign(part_no=part_no, kit=fitted_kit[points.state])


def label_lives(
    history: History, points: Points, fitted: pd.DataFrame, spans: pd.DataFrame
) -> pd.DataFrame:
    """The lives table, in the plant's words."""
    duty, visits = history.duty, history.visits
    pump = spans["pump"].to_numpy(np.int64)
    start, end, pos = (spans[name].to_numpy(np.int64) for name in ("start", "end", "pos"))
    start_day, end_day = points.day[start], points.day[end]
    stint = duty.stints.iloc[duty.at(pump, start_day)].reset_index(drop=True)
    about = fitted.iloc[start].reset_index(drop=True)
    place = history.positions.iloc[pos].reset_index(drop=True)
    failed = spans["outcome"].str.startswith("failed").to_numpy()
    event = spans["event"].to_numpy(np.int64)
    shared = spans.groupby("event")["event"].transform("size").to_numpy()
    rows = np.append(visits["rows"].to_numpy(object), "")
    modes = np.append(visits["failure_mode"].to_numpy(object), "")
    told = zip(rows[points.visit[start]], rows[points.visit[end]], strict=True)
    mode = np.where(spans["mode"] != "", spans["mode"], modes[spans["visit"]])
    worn = (spans["outcome"] == "worn").to_numpy()
    table = pd.DataFrame(
        {
            "pump_id": history.records.pumps["pump_id"].to_numpy(object)[pump],
            "site": stint["site"],
            "service": stint["service"],
            "size_mm": stint["size_mm"],
            "side": place["side"],
            "part": place["part"],
            "position": np.where(spans["unnamed"], "unknown", place["position"]),
            "material": about["material"],
            "start_on": date_of(spans["origin_day"].to_numpy(float)),
            "end_on": date_of(end_day),
            "entry": spans["entry"].to_numpy(float),
            "lower": spans["lower"].to_numpy(float),
            "upper": spans["upper"].to_numpy(float),
            "outcome": spans["outcome"].to_numpy(object),
            "mode": np.where(failed | worn, mode, ""),
            "endpoint": np.select([failed, worn], ["failed", "worn"], ""),
            "usage_grade": history.clock.graded(pump, start_day, end_day),
            "source_rows": [";".join(filter(None, pair)) for pair in told],
            "share_failed": np.where(event >= 0, 1.0 / shared, failed.astype(float)),
            "variant": about["variant"],
            "part_no": about["part_no"],
            "kit": about["kit"],
            "event": event,
            "pump": pump,
        }
    )
    return table[LIFE_COLUMNS]
