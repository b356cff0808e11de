"""Which openings count for the share of a part: those of which it would be known had they taken it.

Stores keep their books in two ways. Where the issues of an order are booked whole, kits among
them, an order's other issues tell that its books were kept. Where only loose parts are booked,
every opening while they were booked tells: one without an issue took none.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.build import Lives
from pumplife.records.prices import LOOSE

Flags = NDArray[np.bool_]

ON_CONDITION, EVERY_OPENING = LOOSE
BY_ORDER = "counted: openings whose order has other items issued"
BY_SPAN = (
    "counted: all openings between the first and the last issue of loose parts at their site, "
    "since such parts are booked without kits"
)
BY_FINDING = "counted: openings of which a finding speaks"
_OFTEN = 0.5  # of the openings that took one: from this share with other items on, orders are whole


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Booked:
    """What the store's issues tell of which visits had their books kept.

    Attributes
    ----------
    others : frozenset of int
        Visits with an issue of anything but parts renewed on condition: kits, parts that wear,
        what every opening takes.
    span : DataFrame
        By site, first and last: days of its first and last issue of parts that are renewed on
        condition or at every opening [day].
    """

    others: frozenset[int]
    span: pd.DataFrame

    def __repr__(self) -> str:
        return f"Booked({len(self.others)} visits, {len(self.span)} sites)"


def read_booked(parts: pd.DataFrame, lives: Lives) -> Booked:
    """Read from the issues which visits had their books kept.

    Parameters
    ----------
    parts : DataFrame
        All rows of parts, those of superseded numbers too.
    lives : Lives
        Its visits, with the issues that belong to them.
    """
    assert lives.gathered is not None
    issued = lives.gathered.issued
    wears = parts.drop_duplicates("part_no", keep="last").set_index("part_no")["wears"]
    kind = issued["item"].map(wears)
    loose = issued.loc[kind.isin(LOOSE), "visit"]
    visits = lives.visits[lives.visits["visit"].isin(loose)]
    return Booked(
        others=frozenset(issued.loc[kind.ne(ON_CONDITION), "visit"].astype(int)),
        span=visits.groupby("site")["day"].agg(["min", "max"]).set_axis(["first", "last"], axis=1),
    )


def find_known(
    openings: pd.DataFrame, took: Flags, booked: Booked, findings: pd.DataFrame
) -> tuple[Flags, str]:
    """Openings that count, and by which rule.

    No opening counts only because it took the part. Orders are taken to be booked whole where at
    least half of the openings to which the store issued the part have other items issued too:
    then those with other items count. Otherwise the openings of each site count that lie between
    its first and its last issue of loose parts; the days of these two are left out, since they are
    in only for what they took. Findings add the openings that they speak of where they
    say of some that the part was kept, or where the issues tell of none.

    Parameters
    ----------
    openings : DataFrame
        Visits to the part's side: visit, site, day.
    took : bool array (openings,)
        To which the store issued it.
    booked : Booked
    findings : DataFrame
        Those that speak of the part: visit, action.

    Returns
    -------
    bool array (openings,)
    str
        `BY_ORDER`, `BY_SPAN` or `BY_FINDING`.
    """
    known = openings["visit"].isin(booked.others).to_numpy()
    how = BY_ORDER
    if took.any() and known[took].mean() < _OFTEN:
        span = booked.span.reindex(openings["site"])
        day = openings["day"].to_numpy(float)
        known = (day > span["first"].to_numpy(float)) & (day < span["last"].to_numpy(float))
        how = BY_SPAN
    spoken = openings["visit"].isin(findings["visit"]).to_numpy()
    if not known.any():
        return spoken, BY_FINDING
    if findings["action"].ne("renewed").any():
        known = known | spoken
    return known, how
