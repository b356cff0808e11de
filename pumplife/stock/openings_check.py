"""What last year's openings were expected to take beside their kits, and what the store issued."""

from collections.abc import Hashable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.stock.loose import LoosePart
from pumplife.stock.on_condition import OPENINGS

FloatArray = NDArray[np.float64]

_KEY = ["store", "item"]
_NORMAL_90 = float(stats.norm.ppf(0.95))
_COLUMNS = ("store", "item", "by_openings", "openings_low", "openings_high")


def expect_loose(
    visits: pd.DataFrame,
    worked: tuple[Sequence[SideGroup], Sequence[Sequence[LoosePart]]],
    current: dict[str, str],
    end: float,
) -> pd.DataFrame:
    """Pieces that the openings of the last twelve months were expected to take loose.

    Parameters
    ----------
    visits : DataFrame
        Of `Lives`.
    worked : tuple of two sequences
        The advised groups, and what openings of each take beside the kit.
    current : dict
        Item to the item that has taken its place.
    end : float
        Last day of the records [day].

    Returns
    -------
    DataFrame
        One row per store and item whose demand comes from openings. by_openings: openings by the
        tickets, times the share that takes one, times its pieces less those in a kit that was
        fitted [items]; openings_low, openings_high: its 90 % band by a normal law, of which
        openings take one and of the doubt in the share.
    """
    recent = visits[(visits["day"] > end - DAYS_PER_YEAR) & visits["reason"].isin(OPENINGS)]
    rows = []
    for group, parts in zip(*worked, strict=True):
        known = [part for part in parts if not part.why]
        if not known:
            continue
        store = dict(zip(group.pumps.tolist(), map(str, group.store), strict=True))
        own = recent[(recent["side"] == group.side) & recent["pump"].isin(list(store))]
        where = own["pump"].map(store).to_numpy(object)
        for part in known:
            item = current.get(part.part_no, part.part_no)
            rows += [_nothing(place, item) for place in sorted(set(store.values()))]
            rows.append(_take(own, part).assign(store=where, item=item))
    if not rows:
        return pd.DataFrame(columns=list(_COLUMNS))
    return _add_up(pd.concat(rows, ignore_index=True))


def _nothing(store: str, item: str) -> pd.DataFrame:
    """A store whose pumps take the item, before any opening is counted."""
    row = {"store": store, "item": item, "mean": 0.0, "spread": 0.0}
    return pd.DataFrame([row | dict.fromkeys(OPENINGS, 0.0)])


def _take(openings: pd.DataFrame, part: LoosePart) -> pd.DataFrame:
    """Of each opening: mean and variance of its pieces, and what doubt in each share moves."""
    fitted = ~openings["kit"].isin(["", "none"]).to_numpy()
    kind = (openings["reason"] == OPENINGS[1]).to_numpy().astype(np.intp)
    pieces = np.stack([part.pieces, np.maximum(part.pieces - part.held, 0)]).astype(np.float64)
    each, square = pieces.mean(axis=1)[fitted.astype(int)], (pieces**2).mean(axis=1)
    chance, doubt = np.ones(2), np.zeros(2)
    if part.share is not None:
        chance, doubt = part.share.mean, np.asarray(stats.beta.std(*part.share.beta))
    mean = chance[kind] * each
    return pd.DataFrame(
        {
            "mean": mean,
            "spread": chance[kind] * square[fitted.astype(int)] - mean**2,
            **{name: np.where(kind == n, doubt[n] * each, 0.0) for n, name in enumerate(OPENINGS)},
        }
    )


def _add_up(rows: pd.DataFrame) -> pd.DataFrame:
    sums = rows.groupby(_KEY)[["mean", "spread", *OPENINGS]].sum().reset_index()
    wide = _NORMAL_90 * np.sqrt(sums["spread"] + (sums[list(OPENINGS)] ** 2).sum(axis=1))
    return pd.DataFrame(
        {
            **{name: sums[name] for name in _KEY},
            "by_openings": sums["mean"],
            "openings_low": np.ceil((sums["mean"] - wide).clip(lower=0.0) - 1e-9),
            "openings_high": np.floor(sums["mean"] + wide + 1e-9),
        }
    )


def hold_against_issues(table: pd.DataFrame, expected: pd.DataFrame) -> pd.DataFrame:
    """The check with what is issued, not breakdowns, beside what openings were expected to take.

    Parameters
    ----------
    table : DataFrame
        `CHECK_COLUMNS` of `demand_check` but the verdict.
    expected : DataFrame
        By `expect_loose`.

    Returns
    -------
    DataFrame
        In rows of items taken by openings: breakdowns_12m blank; expected_12m and its band by
        openings; ratio: expected over issued.
    """
    table = table.merge(expected, on=_KEY, how="left")
    mine = table["by_openings"].notna()
    issued = table["issued_12m"].where(table["issued_12m"] > 0)
    instead = {
        "expected_12m": table["by_openings"],
        "expected_low": table["openings_low"],
        "expected_high": table["openings_high"],
        "ratio": table["by_openings"] / issued,
    }
    changed = {name: table[name].where(~mine, to) for name, to in instead.items()}
    return table.assign(**changed, breakdowns_12m=table["breakdowns_12m"].mask(mine))


def say_openings(row: dict[Hashable, Any], covered: tuple[float, float]) -> str:
    """Whether issues cover what openings were expected to take, else what to ask."""
    expected, issued = row["expected_12m"], row["issued_12m"]
    if np.isnan(issued):
        return f"not checked: no issue of it is booked here; openings should take {expected:.1f}"
    if covered[0] <= row["ratio"] <= covered[1]:
        return "issues are as the openings lead one to expect"
    low, high = row["expected_low"], row["expected_high"]
    if low <= issued <= high:
        return f"{issued:.0f} issued where {expected:.1f} were expected: no more than chance does"
    if issued > high:
        return (
            f"{issued:.0f} issued where openings should take at most {high:.0f}: ask what they "
            "were taken for besides, or why more openings took one"
        )
    return (
        f"{issued:.0f} issued where openings should take at least {low:.0f}: ask whether issues "
        "went unwritten, or why fewer openings took one"
    )
