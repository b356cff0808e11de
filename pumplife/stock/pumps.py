"""Each pump among its peers: failures and money against what they would lead one to expect."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.alike.expected import Seen, failures_seen
from pumplife.fits.alike.likeness import Alike
from pumplife.fits.alike.pumps import WORSE
from pumplife.fits.build import Fits
from pumplife.lives.build import Lives
from pumplife.policy.advice import Advice
from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.policy.today import duty_today
from pumplife.records.duty import Duty
from pumplife.records.plant import to_day, to_days
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock
from pumplife.stock.follows import what_it_follows
from pumplife.stock.replacement import OwnCosts, price_rebuilds, weigh_new_pumps
from pumplife.stock.spent import amounts_of_visits
from pumplife.weibull.arrays import sum_by

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Words = NDArray[np.object_]

COLUMNS = [
    "pump_id", "location", "service", "usage_12m", "breakdowns_12m", "expected_breakdowns",
    "failures", "expected_failures", "ratio", "ratio_low", "ratio_high", "prob_worse", "standing",
    "cost_12m", "expected_cost", "follows", "rebuild_or_replace", "replace_why", "look_at",
]  # fmt: skip
LOOK_FIRST = (
    # word in the part's name, side, what to look at first (common practice)
    ("diaphragm", "", "inlet head, air pressure above need, dry running, plate edges, a bent rod"),
    ("ball", "", "solids settled at the suction, suction lift, flashing, swelling"),
    ("seat", "", "solids, closing impact at the discharge, the ball that runs on it"),
    ("", "air", "the air supply: water, dirt, oil, icing at the exhaust"),
    ("", "", "air supply, inlet head, dry running, solids, plates and rod"),
)


def list_pumps(
    records: Records,
    ran: tuple[Duty, UsageClock],
    lives: Lives,
    found: tuple[Fits, Alike],
    advice: Advice | None,
) -> pd.DataFrame:
    """One row per pump, those that stand out first.

    Parameters
    ----------
    records : Records
    ran : (Duty, UsageClock)
    lives : Lives
    found : (Fits, Alike)
        The fits, and each pump against its peers.
    advice : Advice or None
        Prices of failures; costs stay blank without.

    Returns
    -------
    DataFrame
        `COLUMNS`. failures and expected_failures of its parts over the records, the latter as
        its peers' lives would have it; ratio, shrunk, with 90 % bounds; prob_worse = chance of
        more than `WORSE` times its peers' hazard; expected_breakdowns = failures expected in the
        last twelve months of parts whose age is known; expected_cost = those at the cost of a
        breakdown, and planned work as it was.
    """
    (duty, clock), (fits, alike) = ran, found
    today = duty_today(records, duty)
    pump = np.arange(len(records.pumps))
    end = to_day(records.plant.records_to)
    cut = np.full(len(pump), end - DAYS_PER_YEAR)
    ratios = alike.ratios
    recent = seen_since(fits, lives, clock, end - DAYS_PER_YEAR)
    prices = _failure_prices(fits, advice, recent)
    money = _money(records, lives, advice, end - DAYS_PER_YEAR, len(pump))
    late = lives.visits[(lives.visits["day"] > cut[0]) & lives.visits["breakdown"].astype(bool)]
    late = late.drop_duplicates(["pump", "rebuild_id", "day"])
    priced = advice is not None
    due = np.where(priced, money["planned"] + sum_by(recent.pump, prices[0], len(pump)), np.nan)
    follows = what_it_follows(fits, lives, ran, alike)
    own = OwnCosts(
        new=records.pumps["new_cost"].to_numpy(float),
        planned=money["planned_rebuild"],
        failures=sum_by(recent.pump, prices[1], len(pump)),
        ratio=ratios.ratio,
        rebuild=price_rebuilds(advice.groups if advice is not None else [], len(pump)),
    )
    running = today["running"].to_numpy(bool)
    weighed = weigh_new_pumps(own, running, follows, records.plant)
    marked = ratios.named | ratios.watched
    table = pd.DataFrame(
        {
            "pump_id": records.pumps["pump_id"].to_numpy(object),
            "location": today["location"].to_numpy(object),
            "service": today["service"].to_numpy(object),
            "usage_12m": clock.usage(pump, np.full(len(pump), end)) - clock.usage(pump, cut),
            "breakdowns_12m": late.groupby("pump").size().reindex(pump).fillna(0).to_numpy(float),
            "expected_breakdowns": sum_by(recent.pump, recent.expected, len(pump)),
            "failures": ratios.failed,
            "expected_failures": ratios.expected,
            "ratio": ratios.ratio,
            "ratio_low": ratios.ratio_low,
            "ratio_high": ratios.ratio_high,
            "prob_worse": ratios.prob_worse,
            "standing": np.select([ratios.named, ratios.watched], ["stands out", "watch"], ""),
            "cost_12m": np.where(priced, money["all"], np.nan),
            "expected_cost": due,
            "follows": follows,
            "rebuild_or_replace": weighed[0],
            "replace_why": weighed[1],
            "look_at": _look_at(fits, alike.seen, marked),
        }
    )
    _say_standing(records, table)
    order = table.assign(first=ratios.named).sort_values(
        ["first", "prob_worse"], ascending=False, kind="stable", na_position="last"
    )
    return order[COLUMNS].reset_index(drop=True)


def seen_since(fits: Fits, lives: Lives, clock: UsageClock, day: float) -> Seen:
    """Failures expected since a day, life by life."""
    table = lives.table
    pump = table["pump"].to_numpy(np.int64)
    started = clock.usage(pump, to_days(table["start_on"]))
    age = clock.usage(pump, np.full(len(pump), day)) - started
    return failures_seen(fits, table, entry=np.where(np.isfinite(age), age, 0.0))


def _failure_prices(fits: Fits, advice: Advice | None, recent: Seen) -> tuple[Floats, Floats]:
    """Money of the failures expected of each life: in full, and of the rebuild alone."""
    if advice is None:
        return np.zeros(len(recent.pump)), np.zeros(len(recent.pump))
    rows = [
        (pump, group.side, part, money, cash + labour * group.costs.labour_per_h)
        for group in advice.groups
        if group.costs is not None
        for part, money, cash, labour in zip(
            group.part,
            group.costs.failure_money.tolist(),
            (group.costs.kit_failure.cash - group.costs.spill).tolist(),
            group.costs.kit_failure.labour_h.tolist(),
            strict=True,
        )
        for pump in group.pumps.tolist()
    ]
    price = pd.DataFrame(rows, columns=["pump", "side", "part", "full", "rebuild"])
    price = price.astype({"pump": np.int64, "full": float, "rebuild": float})
    price = price.drop_duplicates(["pump", "side", "part"])
    about = fits.table[["side", "part"]].iloc[recent.group].reset_index(drop=True)
    found = about.assign(pump=recent.pump).merge(price, on=["pump", "side", "part"], how="left")
    amounts = found[["full", "rebuild"]].fillna(0.0).to_numpy(float) * recent.expected[:, None]
    return amounts[:, 0], amounts[:, 1]


def _money(
    records: Records, lives: Lives, advice: Advice | None, day: float, pumps: int
) -> dict[str, Floats]:
    """Money of each pump's visits since a day: all, planned, planned without lost production."""
    names = ("all", "planned", "planned_rebuild")
    visits = lives.visits[lives.visits["day"] > day]
    if advice is None or visits.empty:
        return dict.fromkeys(names, np.zeros(pumps))
    told = amounts_of_visits(records, visits, advice)
    pump = visits["pump"].to_numpy(np.int64)
    money = told["money"].to_numpy(float)
    planned = np.where(visits["breakdown"].astype(bool), 0.0, money)
    still = _without_downtime(records, visits, advice)
    rebuild = np.where(visits["breakdown"].astype(bool), 0.0, still)
    sums = (sum_by(pump, each, pumps) for each in (money, planned, rebuild))
    return dict(zip(names, sums, strict=True))


def _without_downtime(records: Records, visits: pd.DataFrame, advice: Advice) -> Floats:
    """Money of visits without their lost production."""
    idle = amounts_of_visits(records, visits.assign(downtime_h=0.0), advice)
    return idle["money"].to_numpy(float)


def _look_at(fits: Fits, seen: Seen, marked: NDArray[np.bool_]) -> Words:
    """What to look at first on the pumps that are marked: by the part with most excess."""
    words = np.full(len(marked), "", dtype=object)
    mine = marked[seen.pump]
    about = fits.table[["side", "part"]].iloc[seen.group[mine]].reset_index(drop=True)
    about = about.assign(
        pump=seen.pump[mine], failed=seen.failed[mine], expected=seen.expected[mine]
    )
    sums = about.groupby(["pump", "side", "part"], as_index=False)[["failed", "expected"]].sum()
    sums["excess"] = sums["failed"] - sums["expected"]
    sums = sums.sort_values("excess", ascending=False, kind="stable").drop_duplicates("pump")
    for row in sums.to_dict("records"):
        first = next(
            text
            for word, side, text in LOOK_FIRST
            if word in str(row["part"]) and side in ("", row["side"])
        )
        words[int(row["pump"])] = (
            f"{row['part']}: {row['failed']:.3g} failed, {row['expected']:.2g} expected; "
            f"common practice: look first at {first}"
        )
    return words


def _say_standing(records: Records, table: pd.DataFrame) -> None:
    named = table[table["standing"] == "stands out"]
    records.log.add_rows(
        named,
        severity="caution",
        rule="pump_stands_out",
        what=[_say_excess(row) for row in named.to_dict("records")],
        table="pumps",
        consequence="Its lives stay in the fits.",
        remedy=[words + "." for words in named["look_at"]],
    )


def _say_excess(row: dict[Hashable, Any]) -> str:
    band = f"{row['ratio']:.2g} ({row['ratio_low']:.2g} to {row['ratio_high']:.2g})"
    return (
        f"{row['failures']:.3g} failures where its peers would have had "
        f"{row['expected_failures']:.2g}: {band} times their hazard; chance of more than "
        f"{WORSE:g} times: {100 * row['prob_worse']:.0f} %."
    )
