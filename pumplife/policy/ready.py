"""Which kit each piece of planned work gets, and from when on it is there."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import IntArray
from pumplife.records.plant import to_day, to_days
from pumplife.records.read import Records
from pumplife.records.storage import EXPIRED, list_bags

NO_LEAD_TIME = "order (no lead time known)"
LAST_DAY = 100_000.0  # of a date, counted from 1970: in 2243


def hand_out_kits(records: Records, due: pd.DataFrame) -> pd.DataFrame:
    """Hand out shelf and orders: first to what a limit doesn't let wait, then to what is due first.

    What reaches its limit before a kit ordered today arrives has the first choice.  Of work due on
    one day the one that is dearest to wait for comes first.  An order under way that arrives after
    the work is due, and after what is ordered today, doesn't count for it.  Of the shelf the first
    to expire goes first; what expires before the work is due isn't handed out.

    Parameters
    ----------
    records : Records
    due : DataFrame
        Needs store, kit, due_day, hard_day, cost_of_waiting, pump_id.

    Returns
    -------
    DataFrame
        In the order of `due`: `kit_day`, from which the kit is there [day], -inf on the shelf,
        or where no kit is known, NaN where no work is planned; `kit_source`, shelf / order / to
        order / ""; `ahead_days`, how long before the work to order: the high lead time where
        given, else the usual one, by which kits ordered today arrive; NaN where none is known.
    """
    planned = due[due["due_day"].notna()].sort_values(
        ["due_day", "cost_of_waiting", "pump_id"], ascending=[True, False, True], kind="stable"
    )
    today = to_day(records.plant.records_to)
    leads = _lead_times(records)
    usual = planned["kit"].map(leads["lead_time_days"])
    new = today + usual.fillna(0.0)
    arrives = _share_out(planned, _supply(records), first=planned["hard_day"] < new)
    sooner = usual.notna() & (arrives > planned["due_day"]) & (new < arrives)
    under_way = arrives.notna() & ~sooner
    source = np.where(under_way, "order", "to order")
    source = np.where(arrives == -np.inf, "shelf", source)
    named = planned["kit"].ne("").to_numpy()
    handed = pd.DataFrame(
        {
            "kit_day": arrives.where(under_way, new).where(named, -np.inf).to_numpy(float),
            "kit_source": np.where(named, source, ""),
            "ahead_days": planned["kit"].map(leads.max(axis=1, skipna=False)).to_numpy(float),
        },
        index=planned.index,
    ).reindex(due.index)
    return handed.assign(kit_source=handed["kit_source"].fillna("").astype(object))


def say_ready(records: Records, due: pd.DataFrame) -> pd.Series[str]:
    """on_shelf, when the order arrives or since when it is late, or the day to order by.

    A kit that is ordered on that day comes later than the work once in ten, where the plant says
    which lead time is exceeded so often.
    """
    today = to_day(records.plant.records_to)
    order_by = (due["do_day"] - due["ahead_days"]).clip(lower=today)
    words = {
        "shelf": pd.Series("on_shelf", index=due.index),
        "order": "arrives " + date_words(due["kit_day"]),
        "to order": ("order by " + date_words(order_by)).where(order_by.notna(), NO_LEAD_TIME),
    }
    said = pd.Series("", index=due.index, dtype=object)
    for source, told in words.items():
        said = said.mask(due["kit_source"] == source, told)
    late = (due["kit_source"] == "order") & (due["kit_day"] < today)
    return said.mask(late, "late since " + date_words(due["kit_day"]))


def _share_out(
    planned: pd.DataFrame, supply: pd.DataFrame, *, first: pd.Series[bool]
) -> pd.Series[float]:
    """When the piece of each job arrives [day], NaN where none is left; some jobs choose first."""
    arrives = pd.Series(np.nan, index=planned.index)
    for jobs in (planned[first], planned[~first]):
        piece = _match(jobs, supply)
        given = piece >= 0
        arrives[jobs.index[given]] = supply["arrives"].to_numpy(float)[piece[given]]
        supply = supply.drop(index=supply.index[piece[given]])
    return arrives


def _match(jobs: pd.DataFrame, supply: pd.DataFrame) -> IntArray:
    """Give each job in its turn the next piece that is still good when the job is due.

    Pieces follow each other as they expire and jobs as they are due: what is past for one job is
    past for all after it. Returns places in `supply`, -1 where there is none.
    """
    found = np.full(len(jobs), -1)
    until = supply["good_until"].fillna(np.inf).to_numpy(float)
    pieces = supply.groupby(["store", "item"], sort=False, observed=True).indices
    for key, rows in jobs.groupby(["store", "kit"], sort=False, observed=True).indices.items():
        places = np.asarray(rows)
        own = np.asarray(pieces.get(key, []), dtype=np.intp)
        turn = np.arange(places.size)
        still = np.searchsorted(until[own], jobs["due_day"].to_numpy(float)[places])
        piece = turn + np.maximum.accumulate(still - turn)
        given = piece < own.size
        found[places[given]] = own[piece[given]]
    return found


def _supply(records: Records) -> pd.DataFrame:
    """Each piece on the shelf (arrives -inf) or on order, in the order in which they are taken.

    Columns store, item, arrives and good_until (days; NaN without end).
    """
    bags = list_bags(records.tables, records.plant)
    bags = bags[bags["standing"].ne(EXPIRED)].sort_values("expires_on", kind="stable")
    names = ["store", "item", "quantity"]
    shelf = bags[names].assign(arrives=-np.inf, good_until=to_days(bags["expires_on"]))
    orders = records.table("on_order")
    coming = orders[names].assign(arrives=to_days(orders["expected_on"]), good_until=np.nan)
    both = pd.concat([shelf, coming], ignore_index=True)
    count = np.floor(both["quantity"].fillna(0.0).clip(lower=0.0)).astype(int)
    pieces = both.loc[both.index.repeat(count)].sort_values("arrives", kind="stable")
    return pieces[["store", "item", "arrives", "good_until"]].reset_index(drop=True)


def _lead_times(records: Records) -> pd.DataFrame:
    """Usual and high days from order to receipt of each kit; the latest row stands."""
    kits = records.table("kits")
    kits = kits.sort_values("valid_from", kind="stable", na_position="first")
    kits = kits.drop_duplicates("kit", keep="last").set_index("kit")
    usual = kits["lead_time_days"]
    return kits[["lead_time_days"]].assign(high=kits["lead_time_high"].fillna(usual))


def date_words(day: pd.Series[float]) -> pd.Series[str]:
    """ISO dates of day numbers, "" where there is none."""
    return dates_of(day).dt.strftime("%Y-%m-%d").fillna("")


def dates_of(day: pd.Series[float]) -> pd.Series[pd.Timestamp]:
    """Dates of day numbers, NaT where there is none or it lies beyond what a date can hold."""
    dated = (day.abs() < LAST_DAY).to_numpy()
    dates = np.full(len(day), np.datetime64("NaT"), dtype="datetime64[ns]")
    whole = np.floor(day.to_numpy(float)[dated]).astype(np.int64)
    dates[dated] = whole.astype("datetime64[D]")
    return pd.Series(dates, index=day.index)


def one_date(day: float) -> str:
    """ISO date of a day number."""
    return str(date_words(pd.Series([day])).iloc[0])


def whole_days(day: pd.Series[float]) -> FloatArray:
    """The day numbers without their fractions, as a list of work gives them."""
    return np.floor(day.to_numpy(float))
