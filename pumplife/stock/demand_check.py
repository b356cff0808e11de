"""Does the model cover what happened: last year's demand by tickets and issues beside it."""

from collections.abc import Hashable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from pumplife.fits.build import Fits
from pumplife.lives.build import Lives
from pumplife.policy.advice import Advice
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.records.plant import to_day, to_days
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock
from pumplife.stock.items import list_items, successors
from pumplife.stock.loose import LoosePart
from pumplife.stock.openings_check import expect_loose, hold_against_issues, say_openings
from pumplife.stock.pumps import seen_since

FloatArray = NDArray[np.float64]

CHECK_COLUMNS = (
    "store",
    "item",
    "kind",
    "issued_12m",
    "issued_per_year",
    "issue_size",
    "months_between",
    "croston_per_year",
    "breakdowns_12m",
    "expected_12m",
    "expected_low",
    "expected_high",
    "ratio",
    "next_12m",
    "verdict",
)
COVERED = (0.8, 1.25)  # model over tickets: within this it covers what happened
NOTHING = 0.05  # pieces a year, written 0.0
MONTH_DAYS = DAYS_PER_YEAR / 12.0
SMOOTHING = 0.1  # weight of the newest size and interval
_KEY = ["store", "item"]


def check_demand(
    records: Records,
    clock: UsageClock,
    found: tuple[Lives, Fits],
    advice: Advice,
    stock: pd.DataFrame,
    *,
    worked: tuple[Sequence[SideGroup], Sequence[Sequence[LoosePart]]] = ((), ()),
) -> pd.DataFrame:
    """Past use of each item of the stock table beside what the lives lead one to expect.

    Parameters
    ----------
    records : Records
    clock : UsageClock
    found : (Lives, Fits)
    advice : Advice
        Tells the kit and the store of each pump side.
    stock : DataFrame
        The stock table.
    worked : tuple of two sequences, optional
        The advised groups, and what openings of each take beside the kit.

    Returns
    -------
    DataFrame
        `CHECK_COLUMNS`, one row per store and item that breakdowns took or are expected to take.
        issued_12m, issued_per_year: pieces off the shelf, returns taken off, in the last twelve
        months and a year over the records; issue_size and months_between: the usual piece count
        of a month with issues, and months from one to the next; croston_per_year: see
        `croston_rate`; all blank without issues. breakdowns_12m: pieces that breakdowns of the
        last twelve months took, by tickets; expected_12m: what the fitted lives expect of the
        same pumps, ages and months, with 90 % of a Poisson count; ratio: expected over taken;
        next_12m: unplanned demand that the levels reckon with. What openings take beside the
        kit is held against issues instead, see `hold_against_issues`.
    """
    if stock.empty:
        return pd.DataFrame(columns=list(CHECK_COLUMNS))
    lives, fits = found
    current = successors(list_items(records))
    asked = stock.loc[stock["reorder_point"].notna(), [*_KEY, "kind", "demand_per_year"]]
    table = asked.rename(columns={"demand_per_year": "next_12m"})
    place = _sides_of(records, advice, current)
    end = to_day(records.plant.records_to)
    expected = _expected(fits, lives, clock, place, end)
    taken = _taken(lives, place, current, end)
    for other in (expected, taken, _issues(records, place, current, end)):
        table = table.merge(other, on=_KEY, how="left")
    filled = table[["expected_12m", "breakdowns_12m"]].fillna(0.0)
    table[["expected_12m", "breakdowns_12m"]] = filled
    taken_or_none = filled["breakdowns_12m"].where(filled["breakdowns_12m"] > 0)
    mean = filled["expected_12m"].to_numpy(float)
    table = table.assign(
        expected_low=stats.poisson.ppf(0.05, np.maximum(mean, 1e-12)),
        expected_high=stats.poisson.ppf(0.95, np.maximum(mean, 1e-12)),
        ratio=filled["expected_12m"] / taken_or_none,
    )
    table = hold_against_issues(table, expect_loose(lives.visits, worked, current, end))
    words = [_verdict(row) for row in table.to_dict("records")]
    return table.assign(verdict=words)[list(CHECK_COLUMNS)].reset_index(drop=True)


def croston_rate(counts: FloatArray) -> FloatArray:
    """Mean demand a month of items asked for now and then, the newest months weighing more.

    Sizes and intervals of months with demand are smoothed apart, and the bias of their ratio is
    taken off: (1 − α/2) · size / interval, α = `SMOOTHING`.

    Parameters
    ----------
    counts : array (items, months)
        Pieces of each month, the oldest first [items].

    Returns
    -------
    array (items,)
        [items/month]; 0 where nothing was ever taken.

    References
    ----------
    J. D. Croston, Operational Research Quarterly 23 (1972) 289-303; A. A. Syntetos and
    J. E. Boylan, International Journal of Forecasting 21 (2005) 303-314 (both from memory).
    """
    items, months = counts.shape
    size, interval = np.zeros(items), np.zeros(items)
    since = np.ones(items)
    for month in range(months):
        some, first = counts[:, month] > 0, size == 0
        weight = np.where(first, 1.0, SMOOTHING)
        size = np.where(some, size + weight * (counts[:, month] - size), size)
        interval = np.where(some, interval + weight * (since - interval), interval)
        since = np.where(some, 1.0, since + 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = (1.0 - SMOOTHING / 2.0) * size / interval
    return np.where(size > 0, rate, 0.0)


def _sides_of(records: Records, advice: Advice, current: dict[str, str]) -> pd.DataFrame:
    """One row per pump side and part: where its kit and parts lie, and what a failure takes.

    pump, side, store, kit, part, part_no, kit_share (share of failures at which the kit is
    fitted), fouls (chance that it takes the air kit too), air_kit ("" for none).
    """
    air = {int(pump): g.kit for g in advice.groups if g.side == "air" for pump in g.pumps}
    rows = []
    for g in advice.groups:
        chance = records.plant.cost("foul_air_side_probability", g.service)
        fouls = np.where(g.releases, float(np.nan_to_num(chance)), 0.0) * (g.side == "fluid")
        rows += [
            (int(pump), g.side, str(store), g.kit, *of_part, g.kit_share, air.get(int(pump), ""))
            for pump, store in zip(g.pumps, g.store, strict=True)
            for of_part in zip(g.part, g.part_no, fouls, strict=True)
        ]
    names = ["pump", "side", "store", "kit", "part", "part_no", "fouls", "kit_share", "air_kit"]
    table = pd.DataFrame(rows, columns=names)
    latest = {name: table[name].map(lambda item: current.get(item, item)) for name in
              ("kit", "part_no", "air_kit")}  # fmt: skip
    return table.assign(**latest)


def _expected(
    fits: Fits, lives: Lives, clock: UsageClock, place: pd.DataFrame, end: float
) -> pd.DataFrame:
    """Pieces that breakdowns of the last twelve months were expected to take."""
    recent = seen_since(fits, lives, clock, end - DAYS_PER_YEAR)
    about = fits.table[["side", "part"]].iloc[recent.group].reset_index(drop=True)
    about = about.assign(pump=recent.pump, expected=recent.expected)
    about = about.merge(place, on=["pump", "side", "part"])
    takes = (
        ("kit", about["kit_share"]),
        ("part_no", 1.0 - about["kit_share"]),
        ("air_kit", about["fouls"]),
    )
    every = pd.concat(
        [about.assign(item=about[item], pieces=about["expected"] * share) for item, share in takes],
        ignore_index=True,
    )
    return every.groupby(_KEY)["pieces"].sum().rename("expected_12m").reset_index()


def _taken(lives: Lives, place: pd.DataFrame, current: dict[str, str], end: float) -> pd.DataFrame:
    """Kits, and parts blamed where no kit was fitted, of the last twelve months' breakdowns."""
    visits = lives.visits
    late = visits[(visits["day"] > end - DAYS_PER_YEAR) & visits["breakdown"].astype(bool)]
    own = place.drop_duplicates(["pump", "side"])[["pump", "side", "store"]]
    late = late.merge(own, on=["pump", "side"])
    fitted = ~late["kit"].isin(["", "none"])
    kits = late[fitted].assign(item=late.loc[fitted, "kit"].map(lambda kit: current.get(kit, kit)))
    loose = late[~fitted].merge(
        place[["pump", "side", "part", "part_no"]],
        left_on=["pump", "side", "failed_part"],
        right_on=["pump", "side", "part"],
    )
    both = pd.concat([kits[_KEY], loose.rename(columns={"part_no": "item"})[_KEY]])
    counted = both.groupby(_KEY).size().astype(float)
    return counted.rename("breakdowns_12m").reset_index()


def _issues(
    records: Records, place: pd.DataFrame, current: dict[str, str], end: float
) -> pd.DataFrame:
    """Pieces issued, net of returns, month by month back from the end of the records."""
    columns = [*_KEY, "issued_12m", "issued_per_year", "issue_size", "months_between",
               "croston_per_year"]  # fmt: skip
    rows = records.table("issued")
    days = to_days(rows["issued_on"])
    begins = to_day(records.plant.records_from)
    first = np.nanmin(days) if len(days) and np.isnan(begins) else begins
    months = int((end - first) // MONTH_DAYS) if np.isfinite(first) else 0
    kept = (days > end - months * MONTH_DAYS) & (days <= end) & rows["quantity"].notna().to_numpy()
    if months < 1 or not kept.any():
        return pd.DataFrame(columns=columns).astype(dict.fromkeys(columns[2:], float))
    rows = rows[kept].assign(month=months - 1 - ((end - days[kept]) // MONTH_DAYS).astype(int))
    only = place.drop_duplicates(["store"])["store"]
    store = rows["store"].where(rows["store"].isin(only), only.iloc[0] if len(only) == 1 else "")
    rows = rows.assign(item=rows["item"].map(lambda name: current.get(name, name)), store=store)
    net = rows.pivot_table(
        index=_KEY, columns="month", values="quantity", aggfunc="sum", fill_value=0.0
    ).reindex(columns=range(months), fill_value=0.0)
    counts = np.maximum(net.to_numpy(float), 0.0)
    busy = (counts > 0).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        size = np.where(busy > 0, counts.sum(axis=1) / busy, np.nan)
        gap = np.where(busy > 0, months / busy, np.nan)
    whole = net.to_numpy(float)
    return net.index.to_frame(index=False).assign(
        issued_12m=whole[:, -12:].sum(axis=1),
        issued_per_year=whole.sum(axis=1) / months * 12.0,
        issue_size=size,
        months_between=gap,
        croston_per_year=12.0 * croston_rate(counts),
    )


def _verdict(row: dict[Hashable, Any]) -> str:
    """Whether the model covers the year, else what to ask."""
    if not np.isnan(row["by_openings"]):
        return say_openings(row, COVERED)
    expected, taken = row["expected_12m"], row["breakdowns_12m"]
    low, high, ratio = row["expected_low"], row["expected_high"], row["ratio"]
    if COVERED[0] <= ratio <= COVERED[1]:
        return "the model covers the year"
    if taken == 0 and expected < NOTHING:
        return "nothing to check: no breakdown took one, and none was expected to"
    if low <= taken <= high:
        return f"{taken:.0f} where {expected:.1f} were expected: no more than chance does"
    if taken > high:
        return (
            f"{taken:.0f} where at most {high:.0f} were expected: ask what was harder on these "
            "pumps (duty, a lot, a shock), see pumps and likeness"
        )
    return (
        f"{taken:.0f} where at least {low:.0f} were expected: ask whether breakdowns went "
        "unwritten, or what made it easier"
    )
