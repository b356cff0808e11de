"""Intervals that the plant has adopted, beside the advice."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.records.read import Records

WORTH_CHANGING = 0.05  # an adopted interval that costs this share more is worth a review


def adopted_interval(records: Records, group: SideGroup) -> float:
    """What the plant has adopted for a group [usage]: inf to failure, NaN nothing."""
    row = _adopted_row(records, group)
    if row is None:
        return np.nan
    interval = float(row["interval"])
    return interval if interval > 0.0 else np.inf


def _adopted_row(records: Records, group: SideGroup) -> pd.Series[Any] | None:
    """The adopted row that names a group most closely; blank cells match anything."""
    rows = records.table("adopted")
    if rows.empty:
        return None
    exact = pd.DataFrame(
        {
            "size_mm": rows["size_mm"].eq(group.size_mm),
            "kit": rows["kit"].eq(group.kit),
            "hazard": rows["hazard"].eq(group.hazard),
        }
    )
    blank = pd.DataFrame(
        {
            "size_mm": rows["size_mm"].isna(),
            "kit": rows["kit"].eq(""),
            "hazard": rows["hazard"].eq(""),
        }
    )
    fits = rows["service"].eq(group.service) & rows["side"].eq(group.side)
    fits &= (exact | blank).all(axis=1)
    if not fits.any():
        return None
    close = exact[fits].sum(axis=1)
    return rows.loc[fits].iloc[int(np.argmax(close.to_numpy()))]


def say_unmatched(records: Records, groups: tuple[SideGroup, ...]) -> None:
    """Name every adopted row that no pump group follows."""
    matched = [_adopted_row(records, group) for group in groups]
    used = {int(row["row"]) for row in matched if row is not None}
    rows = records.table("adopted")
    records.log.add_rows(
        rows[~rows["row"].isin(used)],
        severity="caution",
        rule="adopted_unmatched",
        table="adopted",
        what="No pump group of that service, size, side, kit and hazard is in service.",
        consequence="The adopted interval is followed by no pump.",
        remedy="Correct the row, or remove it.",
    )


def _say_over_limit(
    records: Records, group: SideGroup, decision: Decision, row: pd.Series[Any]
) -> None:
    """An adopted interval beyond a limit is a caution; the limit is followed instead."""
    records.log.add(
        "caution",
        f"{group.title}: the adopted interval goes beyond the limit of {decision.limit:,.0f}.",
        rule="adopted_beyond_limit",
        table="adopted",
        row=int(row["row"]),
        consequence="Due list, stock and orders keep to the limit.",
        remedy="Adopt an interval within the limit.",
    )


def review_row(records: Records, group: SideGroup, decision: Decision) -> dict[str, Any]:
    """The adopted interval, what keeping it costs, and whether to look at it again."""
    if decision.adopted is None:
        return {}
    adopted = decision.adopted_interval
    usage = float(group.usage_per_year.sum())
    keeping = usage * float((decision.adopted.money - decision.advised.money).mean())
    row = _adopted_row(records, group)
    over = adopted > decision.limit * (1.0 + 1e-9)
    if over and row is not None:
        _say_over_limit(records, group, decision, row)
    dearer = keeping > WORTH_CHANGING * usage * float(decision.advised.money.mean())
    due = row is not None and row["review_on"] <= records.plant.records_to
    reasons = [
        word
        for word, holds in (
            ("it goes beyond a limit", over),
            ("it costs over 5 % more than the advice", dearer),
            ("its review date has come", due),
        )
        if holds
    ]
    return {
        "adopted_interval": adopted if np.isfinite(adopted) else np.nan,
        "cost_of_keeping": keeping,
        "review": f"review: {', '.join(reasons)}" if reasons else "keep",
    }
