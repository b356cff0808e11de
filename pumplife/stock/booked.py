"""What was booked beside what the tickets tell and what the model expects of the same months."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.alike.expected import failures_seen
from pumplife.fits.build import Fits
from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.groups import SideGroup
from pumplife.records.plant import to_day, to_days
from pumplife.stock.bridge import LastYear
from pumplife.stock.spent import EVERYWHERE, amounts_of_visits

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BOOKED_COLUMNS = (
    "from_on", "to_on", "site", "quantity", "months", "booked", "by_tickets", "expected", "low",
    "high", "ratio", "says",
)  # fmt: skip
PAST_YEARS, MONTHS = 3, 12
COMPARED = {
    # what is booked: what the tickets and the model have for it
    "money": ("material", "labour", "consequences"),
    "kits": ("material",),
    "labour_h": ("labour_h",),
    "downtime_h": ("downtime_h",),
}
UNITS = {
    "money": "in money, all that is paid",
    "kits": "in money, for kits and parts, not in pieces",
    "labour_h": "in hours",
    "downtime_h": "in hours",
}
ASK = "; is its unit right?"
FAR = (0.02, 50.0)  # booked over expected: outside this its unit is asked for
VALUES = ("material", "labour", "consequences", "labour_h", "downtime_h")
_NORMAL_90 = 1.6449


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Expected:
    """Failures that the lives lead one to expect, (rows,): where, when, which fit, how many."""

    site: NDArray[np.object_]
    month: IntArray
    group: IntArray
    failures: FloatArray
    values: FloatArray  # (rows, values) of one failure


def compare_booked(known: LastYear, fits: Fits, groups: tuple[SideGroup, ...]) -> pd.DataFrame:
    """Booked money and hours against tickets and model, site by site, for up to three years back.

    Only months that have a booking count, on all three sides. Money is what is paid: kits, labour,
    call-out and clean-up, without lost production.

    Parameters
    ----------
    known : LastYear
    fits : Fits
    groups : tuple of SideGroup
        Their costs price the failures expected.

    Returns
    -------
    DataFrame
        `BOOKED_COLUMNS`, the latest twelve months first. expected = failures that the lives lead
        one to expect of the parts that ran, at their mean cost today, and the planned work that
        the tickets show; low and high = its 90 % band: how failures scatter, and the doubt in
        each life; ratio = booked over expected; says whether it lies in the band. The audit asks
        for the unit of what lies outside `FAR`.
    """
    spend = _read_spend(known)
    if spend.empty:
        return pd.DataFrame(columns=list(BOOKED_COLUMNS))
    edges = _month_edges(known)
    told = _ticket_values(known, edges)
    expected = _expect_failures(known, fits, groups, edges)
    rows = []
    for (year, quantity), mine in spend.groupby(["year", "quantity"], sort=True):
        places = [EVERYWHERE, *sorted(mine["site"].unique())]
        for site in places:
            own = mine if site == EVERYWHERE else mine[mine["site"] == site]
            row = {"year": year, "site": site, "quantity": quantity}
            rows.append(row | _compare(own, str(quantity), told, expected, fits))
    table = pd.DataFrame(rows)
    starts = known.records.plant.records_to.to_period("M") + (0 if _whole_month(known) else -1)
    last = [starts - MONTHS * int(year) for year in table["year"]]
    table["from_on"] = [(month - MONTHS + 1).to_timestamp() for month in last]
    table["to_on"] = [month.to_timestamp(how="end").normalize() for month in last]
    table = table.sort_values(["year", "quantity"], ascending=[True, False], kind="stable")
    _ask_units(known, table)
    return table[list(BOOKED_COLUMNS)].reset_index(drop=True)


def _whole_month(known: LastYear) -> bool:
    last = known.records.plant.records_to
    return bool(last.is_month_end)


def _month_edges(known: LastYear) -> FloatArray:
    """Days that the months looked at begin on, and the end of the last, (months + 1,) [day]."""
    last = known.records.plant.records_to.to_period("M") + (1 if _whole_month(known) else 0)
    months = pd.period_range(last - PAST_YEARS * MONTHS, last, freq="M")
    return np.array([to_day(month.to_timestamp()) for month in months])


def _read_spend(known: LastYear) -> pd.DataFrame:
    """Bookings of the months looked at: site, quantity, month (place), year back, amount."""
    records = known.records
    spend = records.table("spend")
    edges = _month_edges(known)
    month = np.searchsorted(edges, to_days(spend["month"]), side="right") - 1
    name = spend["quantity"].str.strip().str.lower()
    unknown = sorted(set(name[~name.isin(list(COMPARED))]))
    if unknown:
        records.log.add(
            "note",
            f"spend books {', '.join(unknown)}.",
            rule="spend_not_compared",
            table="spend",
            consequence="These bookings are compared with nothing.",
            remedy=f"Book as {'; '.join(f'{name} ({unit})' for name, unit in UNITS.items())}.",
        )
    kept = name.isin(list(COMPARED)) & (month >= 0) & (month < edges.size - 1)
    kept &= spend["amount"].notna()
    spend = spend.assign(quantity=name, place=month)[kept]
    return spend.assign(year=(edges.size - 2 - spend["place"]) // MONTHS)


def _ticket_values(known: LastYear, edges: FloatArray) -> pd.DataFrame:
    """site, month (place), planned, and `VALUES` of each visit."""
    visits = known.lives.visits
    month = np.searchsorted(edges, visits["day"], side="right") - 1
    inside = (month >= 0) & (month < edges.size - 1)
    visits = visits[inside]
    told = amounts_of_visits(known.records, visits, known.advice)[list(VALUES)]
    planned = ~visits["breakdown"].astype(bool)
    return told.assign(site=visits["site"], place=month[inside], planned=planned)


def _expect_failures(
    known: LastYear, fits: Fits, groups: tuple[SideGroup, ...], edges: FloatArray
) -> _Expected:
    """Failures expected of every life in every month, and what each takes."""
    table, clock = known.lives.table, known.clock
    pump = table["pump"].to_numpy(np.int64)
    began = clock.usage(pump, to_days(table["start_on"]))
    price = _failure_values(groups)
    since = []
    for edge in edges:
        age = clock.usage(pump, np.full(len(pump), edge)) - began
        seen = failures_seen(fits, table, entry=np.where(np.isfinite(age), age, 0.0))
        since.append(seen.expected)
    each = np.maximum(np.array(since[:-1]) - np.array(since[1:]), 0.0)
    month, row = np.nonzero(each)
    about = fits.table[["side", "part"]].iloc[seen.group[row]].reset_index(drop=True)
    about = about.assign(pump=seen.pump[row])
    values = about.merge(price, on=["pump", "side", "part"], how="left")[list(VALUES)]
    return _Expected(
        site=table["site"].to_numpy(object)[seen.life[row]],
        month=month,
        group=seen.group[row].astype(np.int64),
        failures=each[month, row],
        values=values.fillna(0.0).to_numpy(np.float64),
    )


def _failure_values(groups: tuple[SideGroup, ...]) -> pd.DataFrame:
    """`VALUES` of a failure by pump, side and part, as its group's tickets show it worked."""
    rows = []
    for group in groups:
        costs = group.costs
        if costs is None:
            continue
        kit = _values_of(costs, costs.kit_failure, np.full(len(group.part), costs.kit_price))
        alone = _values_of(costs, costs.part_failure, costs.part_price)
        mixed = group.kit_share * kit + (1.0 - group.kit_share) * alone
        frame = pd.DataFrame(mixed, columns=list(VALUES)).assign(part=group.part, side=group.side)
        rows.append(frame.merge(pd.DataFrame({"pump": group.pumps}), how="cross"))
    if not rows:
        return pd.DataFrame(columns=[*VALUES, "part", "side", "pump"])
    return pd.concat(rows).drop_duplicates(["pump", "side", "part"])


def _values_of(costs: SideCosts, work: WorkCost, items: FloatArray) -> FloatArray:
    """(parts, values) of one kind of failure."""
    labour = costs.labour_per_h * work.labour_h
    return np.stack([items, labour, work.cash - items, work.labour_h, work.downtime_h], axis=-1)


def _compare(
    own: pd.DataFrame, quantity: str, told: pd.DataFrame, expected: _Expected, fits: Fits
) -> dict[str, object]:
    """One row: what was booked, what tickets and model have for the same months and sites."""
    names = list(COMPARED[quantity])
    pairs = pd.MultiIndex.from_frame(own[["site", "place"]].drop_duplicates())
    tickets = told[pd.MultiIndex.from_frame(told[["site", "place"]]).isin(pairs)]
    planned = float(tickets.loc[tickets["planned"], names].to_numpy().sum())
    mine = pd.MultiIndex.from_arrays([expected.site, expected.month]).isin(pairs)
    each = expected.values[mine][:, [VALUES.index(name) for name in names]].sum(axis=1)
    money = expected.failures[mine] * each
    by_fit = np.bincount(expected.group[mine], money, minlength=len(fits.table))
    failures = np.maximum(fits.table["failures"].to_numpy(np.float64), 1.0)
    spread = np.sqrt((money * each).sum() + (by_fit**2 / failures).sum())
    middle = planned + float(money.sum())
    low, high = max(middle - _NORMAL_90 * spread, 0.0), middle + _NORMAL_90 * spread
    booked = float(own["amount"].sum())
    return {
        "months": int(own["place"].nunique()),
        "booked": booked,
        "by_tickets": float(tickets[names].to_numpy().sum()),
        "expected": middle,
        "low": low,
        "high": high,
        "ratio": booked / middle if middle > 0.0 else float("nan"),
        "says": _say(booked, low, high) + (ASK if _is_far(booked, middle) else ""),
    }


def _is_far(booked: float, expected: float) -> bool:
    """Whether what is booked is so far from what is expected that its unit may be another."""
    if not (booked > 0.0 and expected > 0.0):
        return False
    return not FAR[0] <= booked / expected <= FAR[1]


def _ask_units(known: LastYear, table: pd.DataFrame) -> None:
    """One caution for each quantity that is far from what is expected: its first such row."""
    far = [_is_far(*pair) for pair in zip(table["booked"], table["expected"], strict=True)]
    for row in table[far].drop_duplicates("quantity").to_dict("records"):
        where = "all sites" if row["site"] == EVERYWHERE else row["site"]
        known.records.log.add(
            "caution",
            f"spend books {row['booked']:,.0f} as {row['quantity']}, {row['from_on']:%Y-%m} to "
            f"{row['to_on']:%Y-%m}, {where}: {_times(row['ratio'])} times the "
            f"{row['expected']:,.0f} expected. Is its unit right?",
            rule="spend_unit",
            table="spend",
            consequence="It is compared as it is written.",
            remedy=f"Book {row['quantity']} {UNITS[row['quantity']]}.",
        )


def _times(ratio: float) -> str:
    return f"{ratio:,.0f}" if ratio >= FAR[1] else f"{ratio:.2g}"


def _say(booked: float, low: float, high: float) -> str:
    if booked > high:
        return "above the band: more was booked than the lives account for"
    if booked < low:
        return "below the band: less was booked than the lives account for"
    return "within the band"
