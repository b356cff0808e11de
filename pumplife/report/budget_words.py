"""The budget in words: what to ask for, what changing over costs, what was booked."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.report.face import ReadableStudy, find_table, study_units
from pumplife.report.tables import write_number

WORDS = {"adopted": "as adopted", "advised": "as advised", "today": "as today"}


def name_years(budget: pd.DataFrame) -> NDArray[np.object_]:
    """Name the year of each row: "2026", "year to 2027-03-31", "part year to 2025-12-31".

    Parameters
    ----------
    budget : DataFrame
        The output table, or rows of it.

    Returns
    -------
    object array
        "last 12 months" for what lies behind; "year 1" where years carry no dates.
    """
    span = budget["span"] if "span" in budget else pd.Series("", index=budget.index)
    begins, ends = (
        pd.to_datetime(budget[name]) if name in budget else pd.Series(pd.NaT, index=budget.index)
        for name in ("from_on", "to_on")
    )
    year = budget["year"].astype(str)
    calendar = begins.dt.strftime("%m-%d").eq("01-01") & ends.dt.strftime("%m-%d").eq("12-31")
    to_day = ends.dt.strftime("%Y-%m-%d").fillna("")
    numbered = year.map(lambda name: f"year {name}" if len(name) < 3 else name)
    named = np.select(
        [
            budget["scenario"].eq("actual"),
            span.eq("part year"),
            span.eq("year") & calendar,
            span.eq("year") & ends.notna(),
        ],
        ["last 12 months", "part year to " + to_day, ends.dt.strftime("%Y"), "year to " + to_day],
        numbered,
    )
    return np.asarray(named, dtype=object)


def find_followed(budget: pd.DataFrame) -> str:
    """The scenario that the plant follows."""
    return "adopted" if (budget["scenario"] == "adopted").any() else "advised"


def first_year(budget: pd.DataFrame, scenario: str) -> pd.Series[Any] | None:
    """Give the money row of the first whole year, all sites, for one scenario.

    Parameters
    ----------
    budget : DataFrame
        The output table.
    scenario : str
        today, advised, adopted or run_to_failure.

    Returns
    -------
    Series or None
        None where the budget has no such row.
    """
    if budget.empty:
        return None
    rows = _rows(budget, scenario, "money")
    rows = rows[rows["year"] > 0]
    return None if rows.empty else rows.sort_values("year").iloc[0]


def name_first_year(budget: pd.DataFrame, row: pd.Series[Any]) -> str:
    """Name the first whole year: "next 12 months" where the budget begins with it."""
    begins = (budget["year"] == 0) & (budget["scenario"] != "actual")
    return str(name_years(row.to_frame().T)[0]) if begins.any() else "next 12 months"


def _rows(budget: pd.DataFrame, scenario: str, quantity: str) -> pd.DataFrame:
    same = (budget["scenario"] == scenario) & (budget["quantity"] == quantity)
    return budget[same & (budget["site"] == "all")]


def answer_budget(study: ReadableStudy) -> list[str]:
    """Say what to plan, to ask for and to keep in reserve, and what changing over costs.

    Parameters
    ----------
    study : ReadableStudy

    Returns
    -------
    list of str
        Sentences, the answer first; empty where there is no budget.
    """
    budget, unit = find_table(study, "budget"), study_units(study).currency
    if budget.empty:
        return []
    scenario = find_followed(budget)
    row = first_year(budget, scenario)
    if row is None:
        return []
    name = name_first_year(budget, row)
    p50, p80, p90 = (write_number(float(row[column])) for column in ("p50", "p80", "p90"))
    words = [
        f"{name[:1].upper()}{name[1:]}, {WORDS[scenario]}: ask for {p80} {unit} (P80), plan with "
        f"{p50} (P50), keep up to {p90} in reserve (P90)."
    ]
    return [*words, *_say_parts(budget, row, unit), *_say_change_over(budget, scenario, unit)]


def _say_parts(budget: pd.DataFrame, row: pd.Series[Any], unit: str) -> list[str]:
    """Cash and lost production apart, in the mean."""
    rows = budget[
        (budget["scenario"] == row["scenario"])
        & (budget["year"] == row["year"])
        & (budget["site"] == "all")
    ]
    mean = rows.set_index("quantity")["mean"]
    if "downtime" not in mean:
        return []
    lost = float(mean["downtime"])
    paid, lost_words = write_number(float(mean["money"]) - lost), write_number(lost)
    return [f"Of its mean, {paid} {unit} are paid and {lost_words} {unit} are lost production."]


def _say_change_over(budget: pd.DataFrame, scenario: str, unit: str) -> list[str]:
    """First-round renewals and the shelf."""
    words = []
    overdue = _rows(budget, scenario, "backlog")
    if float(overdue["mean"].sum()) > 0.0:
        words.append(
            f"{write_number(float(overdue['mean'].sum()))} {unit} {_say_until(overdue)} "
            "renew sides that are past their interval today: once, when changing over."
        )
    shelf = float(_rows(budget, scenario, "stock_change")["mean"].sum())
    if shelf > 0.0:
        words.append(f"The shelf grows by {write_number(shelf)} {unit} besides.")
    if shelf < 0.0:
        words.append(f"The shelf shrinks by {write_number(-shelf)} {unit}: bought so much less.")
    return words


def _say_until(rows: pd.DataFrame) -> str:
    """Name the years in which there is any money: "in 2027", "in 2027 and until 2028"."""
    some = np.flatnonzero(rows["mean"].to_numpy(float) > 0.0)
    first, last = name_years(rows)[some[[0, -1]]]
    return f"in {first}" if first == last else f"in {first} and until {last}"


def say_booked(booked: pd.DataFrame) -> str:
    """Say whether what was booked lies where the lives lead one to expect."""
    if booked.empty:
        return ""
    whole = booked[booked["site"] == "all"]
    out = whole[whole["says"] != "within the band"]
    if out.empty:
        return "What was booked lies within what the lives account for, all sites together."
    names = [
        f"{row['quantity']} {row['from_on']:%Y-%m} to {row['to_on']:%Y-%m} "
        f"({write_number(float(row['ratio']))} times what is expected)"
        for row in out.to_dict("records")
    ]
    return f"Outside what the lives account for, all sites together: {'; '.join(names)}."
