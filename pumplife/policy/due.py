"""What is due on which pump: one row per pump and side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.own_limits import own_intervals
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import wear_area
from pumplife.records.plant import to_day, to_days
from pumplife.records.read import Records
from pumplife.weibull.draws import LifeDraws

QUARTER_DAYS = 91.0  # 13 weeks
MOST_DRAWS = 200
BLOCK_CELLS = 2_000_000  # pumps x positions x draws held at once
FURTHEST_DAYS = 36_500.0  # due dates beyond a century are left blank
DUE_COLUMNS = (
    "pump_id", "site", "location", "service", "side", "kit", "clock_from", "age_now", "age_known",
    "due_usage", "due_on", "outage_on", "do_on", "priority", "overdue_by", "kit_ready",
    "failure_prob_by_due", "failure_prob_13_weeks", "ticket_id", "store", "hazard", "group",
    "usage_per_week", "cost_of_waiting",
)  # fmt: skip


def build_due(
    records: Records,
    groups: tuple[SideGroup, ...],
    decisions: tuple[Decision | None, ...],
) -> pd.DataFrame:
    """The due list, by the followed interval of each group.

    Parameters
    ----------
    records : Records
        Gives outages, stock, orders and lead times.
    groups : tuple of SideGroup
    decisions : tuple of Decision or None

    Returns
    -------
    DataFrame
        One row per pump and side with advice, the most pressing first; `due_usage` is the
        reading of the side's own clock, usage since its last renewal, and blank where the side
        runs to failure.
    """
    today = to_day(records.plant.records_to)
    frames = [
        _group_rows(number, group, decision, today)
        for number, (group, decision) in enumerate(zip(groups, decisions, strict=True))
        if decision is not None
    ]
    if not frames:
        return pd.DataFrame(columns=list(DUE_COLUMNS))
    due = pd.concat(frames, ignore_index=True)
    due["pump_id"] = records.pumps["pump_id"].to_numpy(object)[due["pump"]]
    due = _plan_dates(records, due, today)
    due = _add_risk(due, groups, decisions, today)
    due["kit_ready"] = _kit_ready(records, due)
    return _finish(due)


def _group_rows(number: int, group: SideGroup, decision: Decision, today: float) -> pd.DataFrame:
    """Clock and due day of every pump of a group."""
    interval = own_intervals(group, decision.followed_interval)
    left = interval - group.clock_age
    low, high = _band(decision)

    def day_of(age: float | FloatArray) -> FloatArray:
        return np.asarray(today + np.maximum(age - group.clock_age, 0.0) / group.rate)

    due_day = day_of(interval)
    due_day = np.where(due_day - today < FURTHEST_DAYS, due_day, np.nan)
    return pd.DataFrame(
        {
            "group": number,
            "row": np.arange(group.pumps.size),
            "pump": group.pumps,
            "site": group.site,
            "location": group.location,
            "store": group.store,
            "service": group.service,
            "side": group.side,
            "kit": group.kit,
            "hazard": group.hazard,
            "clock_day": group.clock_day,
            "age_now": group.clock_age,
            "age_known": np.where(group.clock_known & group.known.all(axis=1), "yes", "at least"),
            "due_usage": np.where(np.isfinite(interval), interval, np.nan),
            "due_day": due_day,
            "first_day": day_of(np.minimum(low, 0.9 * interval)),
            "last_day": day_of(np.minimum(high, group.own_limit)),
            "overdue_by": np.where(np.isfinite(left), np.maximum(-left, 0.0), np.nan),
            "usage_per_week": 7.0 * group.rate,
        }
    )


def _band(decision: Decision) -> tuple[float, float]:
    """Ages between which the work may be moved to an outage [usage]."""
    interval, advice = decision.followed_interval, decision.advice
    low = min(advice.near_best_low, 0.9 * interval)
    if advice.binding_limit != "cost":
        return low, interval
    return low, max(advice.near_best_high, interval)


def _plan_dates(records: Records, due: pd.DataFrame, today: float) -> pd.DataFrame:
    """Move the work to an outage where one lies within the near-best band.

    The last one before the due day is taken, else the next one after it, but never beyond the
    due day where a limit sets the interval.  Without such an outage the due day stands.
    """
    due = due.assign(outage_day=np.nan)
    for site, rows in due.groupby("site"):
        outages = np.array([day for day in records.plant.outages(str(site)) if day >= today])
        if outages.size:
            due.loc[rows.index, "outage_day"] = _pick_outage(rows, outages)
    return due.assign(do_day=due["outage_day"].fillna(due["due_day"]))


def _pick_outage(rows: pd.DataFrame, outages: FloatArray) -> FloatArray:
    """Outage day of each row, NaN where none suits."""
    wanted = rows["due_day"].to_numpy(float)
    after = np.searchsorted(outages, np.nan_to_num(wanted), side="right")
    padded = np.concatenate([[np.nan], outages, [np.nan]])
    before, following = padded[after], padded[after + 1]
    early_enough = before >= rows["first_day"].to_numpy(float)
    last = rows["last_day"].to_numpy(float)
    pick = np.where(early_enough, before, np.where(following <= last, following, np.nan))
    return np.where(np.isfinite(wanted), pick, np.nan)


def _add_risk(
    due: pd.DataFrame,
    groups: tuple[SideGroup, ...],
    decisions: tuple[Decision | None, ...],
    today: float,
) -> pd.DataFrame:
    """Failure probabilities from the positions' own ages, and what waiting a quarter costs."""
    due = due.assign(by_due=np.nan, quarter=np.nan, cost_of_waiting=np.nan)
    for number, rows in due.groupby("group"):
        group, decision = groups[int(str(number))], decisions[int(str(number))]
        assert decision is not None, "only groups with a decision have rows"
        span = np.stack(
            [
                np.full(len(rows), QUARTER_DAYS),
                np.maximum(np.nan_to_num(rows["do_day"].to_numpy(float) - today), 0.0),
            ]
        )
        ages = PositionAges(
            age=group.age,
            known=group.known,
            most=np.minimum(
                group.most,
                _below(own_intervals(group, decision.followed_interval)[:, None], group.age),
            ),
        )
        chance, share = failure_chance(group.position_lives, ages, span * group.rate)
        extra = (decision.costs.failure_money - decision.costs.planned_money)[group.part_of]
        due.loc[rows.index, "quarter"] = chance[0]
        due.loc[rows.index, "by_due"] = np.where(rows["do_day"].notna(), chance[1], np.nan)
        due.loc[rows.index, "cost_of_waiting"] = chance[0] * np.maximum(share[0] @ extra, 0.0)
    return due


def _below(interval: FloatArray, least: FloatArray) -> FloatArray:
    """The interval as a bound on ages not known, unless they are beyond it already."""
    return np.where(least < interval, interval, np.inf)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PositionAges:
    """Ages of the positions of some pumps.

    Attributes
    ----------
    age : float array (pumps, positions)
        [usage]; where not known, the least that it can be.
    known : bool array (pumps, positions)
    most : float array (pumps, positions)
        The most that an unknown age can be [usage]; inf where nothing bounds it.
    """

    age: FloatArray
    known: np.ndarray[tuple[int, int], np.dtype[np.bool_]]
    most: FloatArray

    def __repr__(self) -> str:
        """Say the size."""
        return f"<PositionAges: {self.age.shape} pumps x positions>"


def failure_chance(
    lives: LifeDraws, ages: PositionAges, usage: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Posterior probability that some position fails within more usage, and which it is.

    Parameters
    ----------
    lives : LifeDraws (positions, draws)
    ages : PositionAges
        An age that isn't known counts as the stationary age beyond its minimum, density
        proportional to survival.
    usage : float array (spans, pumps)
        [usage]

    Returns
    -------
    chance : float array (spans, pumps)
    share : float array (spans, pumps, positions)
        Share of each position in it, by its own chance.
    """
    step = max(1, lives.shape.shape[1] // MOST_DRAWS)
    thinned = LifeDraws(
        early_share=lives.early_share[:, ::step],
        early_scale=lives.early_scale[:, ::step],
        shape=lives.shape[:, ::step],
        scale=lives.scale[:, ::step],
    )
    block = max(1, BLOCK_CELLS // thinned.shape.size)
    starts = range(0, ages.age.shape[0], block)
    parts = [_block_chance(thinned, ages, usage, slice(at, at + block)) for at in starts]
    chance, own = (np.concatenate(column, axis=1) for column in zip(*parts, strict=True))
    total = own.sum(axis=2, keepdims=True)
    return chance, np.divide(own, total, out=np.zeros_like(own), where=total > 0.0)


def _block_chance(
    lives: LifeDraws, ages: PositionAges, usage: FloatArray, pumps: slice
) -> tuple[FloatArray, FloatArray]:
    """Failure chance of some pumps, (spans, pumps), and of their positions."""
    age = ages.age[pumps, :, None]
    more = usage[:, pumps, None, None]
    pump, position = np.nonzero(~ages.known[pumps])
    with np.errstate(all="ignore"):
        now = lives.survival(age)
        left = np.stack([lives.survival(age + span) for span in more]) / now
        left = np.where(now > 0.0, left, 0.0)
    if pump.size:
        least = ages.age[pumps][pump, position][:, None]
        spans = usage[:, pumps][:, pump][..., None]
        most = ages.most[pumps][pump, position][:, None]
        left[:, pump, position] = _stationary_left(lives[position], least, spans, most)
    return 1.0 - left.prod(axis=2).mean(axis=-1), 1.0 - left.mean(axis=-1)


def _stationary_left(
    lives: LifeDraws, least: FloatArray, spans: FloatArray, most: FloatArray
) -> FloatArray:
    """Chance to last `spans` more of parts whose age is only known to exceed `least`.

    The integral of survival over the ages later, over that of the ages now.
    """
    upper = np.maximum(most, 1.001 * least + 1e-6)  # an age that is all but known

    def area(low: FloatArray, high: FloatArray) -> FloatArray:
        worn = (1.0 - lives.early_share) * wear_area(lives.shape, lives.scale, low, high)
        ones = np.ones_like(lives.shape)
        return worn + lives.early_share * wear_area(ones, lives.early_scale, low, high)

    with np.errstate(all="ignore"):
        now = area(least, upper)
        later = np.stack([area(least + span, upper + span) for span in spans])
        return np.where(now > 0.0, later / now, 0.0)


def _kit_ready(records: Records, due: pd.DataFrame) -> pd.Series[str]:
    """Shelf, order under way, or the day to order by: kits go to the work that comes first.

    Of work on one day the one that is dearest to wait for comes first. An order under way that
    arrives after the work, and after what is ordered today, doesn't count for it.
    """
    planned = due[due["do_day"].notna()].sort_values(
        ["do_day", "cost_of_waiting", "pump_id"], ascending=[True, False, True], kind="stable"
    )
    supply = _supply(records)
    turn = planned.groupby(["store", "kit"], sort=False).cumcount()
    keyed = planned[["store", "kit", "do_day"]].assign(turn=turn, at=planned.index)
    keyed = keyed.merge(
        supply, left_on=["store", "kit", "turn"], right_on=["store", "item", "turn"], how="left"
    )
    today = to_day(records.plant.records_to)
    lead = keyed["kit"].map(_lead_times(records)).fillna(0.0)
    order_by = (keyed["do_day"] - lead).clip(lower=today)
    sooner = (keyed["arrives"] > keyed["do_day"]) & (today + lead < keyed["arrives"])
    under_way = keyed["arrives"].notna() & ~sooner
    words = np.where(
        under_way, "arrives " + _date_words(keyed["arrives"]), "order by " + _date_words(order_by)
    )
    words = np.where(keyed["arrives"] == -np.inf, "on_shelf", words)
    ready = pd.Series(words, index=keyed["at"], dtype=object)
    return ready.reindex(due.index).fillna("")


def _supply(records: Records) -> pd.DataFrame:
    """Each piece on the shelf (arrives -inf) or on order, in turn: [store, item, turn, arrives]."""
    shelf = records.table("on_hand")[["store", "item", "quantity"]].assign(arrives=-np.inf)
    orders = records.table("on_order")
    coming = orders[["store", "item", "quantity"]].assign(arrives=to_days(orders["expected_on"]))
    both = pd.concat([shelf, coming], ignore_index=True)
    count = np.floor(both["quantity"].fillna(0.0).clip(lower=0.0)).astype(int)
    pieces = both.loc[both.index.repeat(count)].sort_values("arrives", kind="stable")
    return pieces.assign(turn=pieces.groupby(["store", "item"]).cumcount())[
        ["store", "item", "turn", "arrives"]
    ]


def _lead_times(records: Records) -> pd.Series[float]:
    """Days from order to receipt of each kit; the latest row stands."""
    kits = records.table("kits")
    kits = kits.sort_values("valid_from", kind="stable", na_position="first")
    return kits.drop_duplicates("kit", keep="last").set_index("kit")["lead_time_days"]


def _date_words(day: pd.Series[float]) -> pd.Series[str]:
    """ISO dates of day numbers, "" where there is none."""
    return _dates(day).dt.strftime("%Y-%m-%d").fillna("")


def _dates(day: pd.Series[float]) -> pd.Series[pd.Timestamp]:
    """Dates of day numbers, NaT where there is none."""
    whole = np.floor(day.where(np.isfinite(day)))
    return pd.Series(pd.to_datetime(whole, unit="D").astype("datetime64[ns]"), index=day.index)


def _finish(due: pd.DataFrame) -> pd.DataFrame:
    """Dates, ranks and ticket numbers; the most pressing row first."""
    for name in ("due", "outage", "do"):
        due[f"{name}_on"] = _dates(due[f"{name}_day"])
    due["clock_from"] = _dates(due["clock_day"])
    due["failure_prob_by_due"] = due["by_due"]
    due["failure_prob_13_weeks"] = due["quarter"]
    planned = due["do_day"].notna()
    due = due.assign(planned=planned).sort_values(
        ["planned", "cost_of_waiting", "failure_prob_13_weeks", "pump_id", "side"],
        ascending=[False, False, False, True, True],
        kind="stable",
        ignore_index=True,
    )
    due["priority"] = np.arange(1, len(due) + 1)
    stamp = due["do_on"].dt.strftime("%Y%m%d")
    letter = due["side"].str[:1].str.upper()
    due["ticket_id"] = (due["pump_id"] + "-" + letter + "-" + stamp).where(due["planned"], "")
    return due[list(DUE_COLUMNS)]
