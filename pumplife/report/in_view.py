"""What a notebook looks at: a pump group, stock levels, and what the records lack for them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from pumplife.report.answer import list_stops
from pumplife.report.evidence import fits_behind, order_by_stake
from pumplife.report.face import ReadableStudy, find_table
from pumplife.report.pictures import capitalise

if TYPE_CHECKING:
    from pumplife.policy.interval import CostCurve
    from pumplife.stock.curves import RiskCurve

KEYS = ("service", "size_mm", "side", "kit", "hazard")
NOTHING = "The records withhold the answer: the audit says what is missing."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroupInView:
    """A pump group as a notebook looks at it.

    Attributes
    ----------
    place : int
        Row of intervals; -1 where there is none.
    row : Series
        That row; empty where there is none.
    title : str
        The group in words, blank where there is none.
    curve : CostCurve or None
        What its intervals cost [money per rate unit].
    lives : DataFrame
        Rows of the table of fits behind it; all lives of the plant where there is no group.
    verdict : str
        What to do and why, or what the records lack for it.
    """

    place: int
    row: pd.Series[Any]
    title: str
    curve: CostCurve | None
    lives: pd.DataFrame
    verdict: str

    def __repr__(self) -> str:
        return f"GroupInView({self.title or 'no group'})"

    @property
    def keys(self) -> dict[str, object]:
        """Service, size [mm], side, kit and hazard, by which other tables name the group."""
        known = self.row.reindex(list(KEYS)).dropna()
        return {str(name): value for name, value in known.items()}

    @property
    def try_first(self) -> float:
        """An interval to hold against the advice, with two digits [usage].

        Four fifths of the shortest scale of its lives; inf, run to failure, where none is known.
        """
        scales = self.lives["scale"].dropna() if len(self.lives) else ()
        return float(f"{0.8 * min(scales, default=math.inf):.2g}")


def look_at(study: ReadableStudy, place: int | None = None) -> GroupInView:
    """Look at one pump group.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    place : int, optional
        Row of intervals; None: the group with most money at stake.

    Returns
    -------
    GroupInView
        Without group or curve where advice is withheld; its verdict then says what is lacking.

    Raises
    ------
    IndexError
        If there are groups, but no such row.
    """
    intervals, advice = find_table(study, "intervals"), study.advice
    if intervals.empty or advice is None:
        return GroupInView(
            place=-1,
            row=pd.Series(dtype=object),
            title="",
            curve=None,
            lives=pick(
                find_table(study, "fits"), "endpoint == 'failed' and mode == '' and period == ''"
            ),
            verdict=say_lacking(study, "intervals") or NOTHING,
        )
    chosen = order_by_stake(intervals)[0] if place is None else place
    row = intervals.iloc[chosen]
    return GroupInView(
        place=chosen,
        row=row,
        title=advice.groups[chosen].title,
        curve=advice.curves[chosen],
        lives=fits_behind(study, chosen),
        verdict=str(row["verdict"]),
    )


def find_levels(study: ReadableStudy) -> Sequence[RiskCurve]:
    """Give the risk curve of every item that has a level, the weightiest first; may be empty."""
    return () if study.stock is None else study.stock.curves


def say_lacking(study: ReadableStudy, result: str) -> str:
    """Say in a sentence why a result is withheld and what to write; blank where it isn't.

    Where every pump group lacks something, it is what the first one lacks.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    result : str
        intervals, stock or budget; any other name for what the whole study lacks.
    """
    stops = list_stops(study)
    own = [stop for stop in stops if stop["what"].startswith(f"No {result} ")]
    if told := (own or stops)[:1]:
        return _join(told[0]["what"], told[0]["remedy"])
    intervals = find_table(study, "intervals")
    if len(intervals) and intervals["policy"].fillna("").eq("").all():
        return str(intervals["verdict"].iloc[0])
    return ""


def say_no_level(study: ReadableStudy) -> str:
    """Say in a sentence why no item has a stock level, and what to write where that helps."""
    if withheld := say_lacking(study, "stock"):
        return withheld
    lead = pick(find_table(study, "audit"), "rule == 'no_lead_time'")
    if len(lead):
        return _join(str(lead["what"].iloc[0]), str(lead["remedy"].iloc[0]))
    verdicts = pick(find_table(study, "stock"), "verdict != ''")
    if verdicts.empty:
        return NOTHING
    return f"{verdicts['item'].iloc[0]}: {str(verdicts['verdict'].iloc[0]).rstrip('.')}."


def _join(what: str, remedy: str) -> str:
    """One sentence of what is lacking and the remedy."""
    start = remedy[:1].lower() + remedy[1:]
    return f"{capitalise(what.strip().rstrip('.'))}; {start.rstrip('.')}."


def pick(table: pd.DataFrame, which: str, **named: object) -> pd.DataFrame:
    """Pick rows of an output table; of one that the study hasn't got, none.

    Parameters
    ----------
    table : DataFrame
    which : str
        As `DataFrame.query` takes it.
    **named
        What stands behind @ there.
    """
    return table if table.empty else table.query(which, local_dict=named)
