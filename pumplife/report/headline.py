"""The figures that a reader takes away: one tile each."""

from dataclasses import dataclass

import pandas as pd

from pumplife.report.budget_words import first_year, name_first_year
from pumplife.report.dues import count_due, list_put_off
from pumplife.report.face import ReadableStudy, find_table, study_units
from pumplife.report.tables import is_blank, write_count, write_many, write_number
from pumplife.report.words import NO_CURRENCY
from pumplife.stock.assess import NO_LEVEL


@dataclass(frozen=True, slots=True)
class Tile:
    """One figure of the headline.

    Attributes
    ----------
    value : str
        The figure, with its unit.
    words : str
        What it is.
    note : str
        What it stands against.
    """

    value: str
    words: str
    note: str


def headline(study: ReadableStudy) -> list[Tile]:
    """Give the figures that a reader takes away.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    list of Tile
        Only those that the study has numbers for.
    """
    makers = (_groups_tile, _saving_tile, _due_tile, _orders_tile, _budget_tile)
    return [tile for maker in makers if (tile := maker(study)) is not None]


def count_withheld(study: ReadableStudy) -> int:
    """Count the pump groups that have no advice."""
    intervals = find_table(study, "intervals")
    return 0 if intervals.empty else int((intervals["policy"].fillna("") == "").sum())


def say_withheld(study: ReadableStudy) -> str:
    """Say how many groups a sum leaves out; blank when every group has advice."""
    count = count_withheld(study)
    if not count:
        return ""
    return f"without {write_many(count, 'group')} that {'has' if count == 1 else 'have'} no advice"


def find_reviews(intervals: pd.DataFrame) -> "pd.Series[str]":
    """Give what became of the intervals that the plant adopted; blank where it adopted none."""
    if "review" not in intervals.columns:
        return pd.Series("", index=intervals.index, dtype=object)
    return intervals["review"].fillna("").astype(str)


def _write_sum(value: float, study: ReadableStudy) -> str:
    currency = study_units(study).currency
    words = write_number(float(value))
    return words if currency == NO_CURRENCY else f"{words} {currency}"


def _groups_tile(study: ReadableStudy) -> Tile | None:
    intervals = find_table(study, "intervals")
    if intervals.empty:
        return None
    withheld = count_withheld(study)
    planned = int(((intervals["policy"].fillna("") != "") & intervals["interval"].notna()).sum())
    notes = [f"{len(intervals) - withheld - planned} run to failure"]
    notes += [f"{withheld} without advice"] if withheld else []
    reviews = find_reviews(intervals)
    if adopted := int((reviews != "").sum()):
        again = int(reviews.str.startswith("review").sum())
        notes.append(f"the plant follows its own choice in {adopted}, {again} of them to review")
    words = "pump groups with a planned interval advised"
    return Tile(f"{planned} of {len(intervals)}", words, "; ".join(notes))


def _saving_tile(study: ReadableStudy) -> Tile | None:
    intervals = find_table(study, "intervals")
    if intervals.empty or intervals["saving_per_year"].isna().all():
        return None
    advised = float(intervals["saving_per_year"].sum())
    notes = ["against today's practice, long run, sum of the groups' means"]
    words, total = "expected saving a year as advised", advised
    if (find_reviews(intervals) != "").any():
        words = "expected saving a year by what the plant follows"
        total = advised - float(intervals["cost_of_keeping"].sum())
        notes.insert(0, f"{write_number(advised)} as advised")
    notes += [left] if (left := say_withheld(study)) else []
    return Tile(_write_sum(total, study), words, "; ".join(notes))


def _due_tile(study: ReadableStudy) -> Tile | None:
    due = find_table(study, "due")
    if due.empty:
        return None
    overdue, soon = count_due(due, study.records.plant.records_to)
    notes = [f"{soon} more to do in the next 13 weeks"]
    if late := len(list_put_off(due, study.records.plant.records_to)):
        notes.append(f"{late} that are due by then put off, the bench is full")
    if (find_reviews(find_table(study, "intervals")) != "").any():
        notes.append("by the intervals the plant follows")
    words = "rebuild overdue" if overdue == 1 else "rebuilds overdue"
    return Tile(write_count(float(overdue)), words, "; ".join(notes))


def _orders_tile(study: ReadableStudy) -> Tile | None:
    if "orders" not in study.tables:
        return None
    orders = find_table(study, "orders")
    pieces = float(orders["quantity"].sum()) if len(orders) else 0.0
    words = "order to place" if len(orders) == 1 else "orders to place"
    note = f"{write_many(pieces, 'piece')} in all"
    stock = find_table(study, "stock")
    if bare := int(stock["verdict"].str.startswith(NO_LEVEL).sum()) if len(stock) else 0:
        note += f"; without {write_many(bare, 'item')} that no level is known for"
    return Tile(write_count(float(len(orders))), words, note)


def _budget_tile(study: ReadableStudy) -> Tile | None:
    budget = find_table(study, "budget")
    scenario = "adopted" if first_year(budget, "adopted") is not None else "advised"
    row = first_year(budget, scenario)
    if row is None or is_blank(row["p50"]):
        return None
    p80, p90 = (write_number(float(row[name])) for name in ("p80", "p90"))
    notes = [f"P80 {p80}, P90 {p90}"]
    for other in ("advised", "today"):
        beside = first_year(budget, other) if other != scenario else None
        if beside is not None:
            notes.append(f"as {other} {write_number(float(beside['p50']))} at P50")
    notes += [left] if (left := say_withheld(study)) else []
    words = f"{name_first_year(budget, row)} as {scenario}, P50"
    return Tile(_write_sum(row["p50"], study), words, "; ".join(notes))
