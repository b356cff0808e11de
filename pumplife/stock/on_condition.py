"""Parts renewed on condition or at every opening: how often an opening took one, and what it means.

A plate, rod or bushing has no life that is fitted: it is looked at when the pump is open and
renewed where it must be. What is known of it is the share of openings that took one.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from pumplife.lives.build import Lives
from pumplife.records.phrases import count_of
from pumplife.records.read import Records
from pumplife.stock.items import list_items, successors
from pumplife.stock.openings_known import ON_CONDITION, Booked, find_known, read_booked

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

OPENINGS = ("planned", "breakdown")
SHARE_COLUMNS = (
    "part_no",
    "part",
    "side",
    "size_mm",
    "opening",
    "openings",
    "renewed",
    "share",
    "share_low",
    "share_high",
    "pieces",
    "elsewhere",
    "note",
)
_LEAST = 5  # openings of one kind from which it has a share of its own
_PRIOR = 0.5  # of either outcome: Jeffreys' prior
_BAND = (0.05, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ObservedShare:
    """How often openings took one part number, by `OPENINGS`.

    Attributes
    ----------
    renewed, openings : float array (2,)
        Openings that took it, and openings of which that would be known.
    pieces : int array (renewals,)
        Pieces taken at each renewal at an opening, counted or not [items].
    elsewhere : float
        Pieces issued at other work in the window [items].
    uncounted : int
        Openings that took it and don't count, since no other opening like them would be known.
    known : str
        Which openings count, see `find_known`.
    """

    renewed: FloatArray
    openings: FloatArray
    pieces: IntArray
    elsewhere: float
    uncounted: int = 0
    known: str = ""

    def __repr__(self) -> str:
        return f"ObservedShare({self.renewed.sum():.0f} of {self.openings.sum():.0f} openings)"

    @property
    def counted(self) -> tuple[FloatArray, FloatArray]:
        """Renewed and openings that each share rests on: both kinds together where one has few."""
        few = self.openings < _LEAST
        return (
            np.where(few, self.renewed.sum(), self.renewed),
            np.where(few, self.openings.sum(), self.openings),
        )

    @property
    def beta(self) -> tuple[FloatArray, FloatArray]:
        """Parameters of the posterior of each share, a beta distribution.

        References
        ----------
        L. D. Brown, T. T. Cai and A. DasGupta, Statistical Science 16 (2001) 101-133: the
        interval by Jeffreys' prior.
        """
        renewed, openings = self.counted
        return renewed + _PRIOR, openings - renewed + _PRIOR

    @property
    def mean(self) -> FloatArray:
        """Posterior mean of each share, (2,)."""
        hits, misses = self.beta
        return np.asarray(hits / (hits + misses))

    def draw(self, replicates: int, rng: np.random.Generator) -> FloatArray:
        """Draws of the shares, (2, replicates)."""
        hits, misses = self.beta
        return rng.beta(hits[:, None], misses[:, None], (2, replicates))


def list_parts(records: Records) -> pd.DataFrame:
    """The rows of parts that are valid at the end of the records, the latest of each number.

    A number is left out where another part of the same name, side and wear has taken its place.
    """
    rows = records.table("parts")
    rows = rows[~(rows["valid_from"] > records.plant.records_to)]
    rows = rows.sort_values("valid_from", kind="stable", na_position="first")
    rows = rows.drop_duplicates("part_no", keep="last").sort_index()
    current = successors(list_items(records))
    after = rows["part_no"].map(current)
    same = ["part", "side", "wears"]
    alike = rows.set_index("part_no")[same].reindex(after).to_numpy() == rows[same].to_numpy()
    replaced = after.ne(rows["part_no"]) & alike.all(axis=1)
    kept: pd.DataFrame = rows[~replaced]
    return kept


def observe_shares(records: Records, lives: Lives) -> dict[str, ObservedShare]:
    """How often openings took each part that is renewed on condition.

    An opening is a visit to the part's side, planned or after a breakdown, of a pump of its size.
    It counts where it would be known had it taken the part, see `find_known`: where other items of
    its order are issued; where a store books loose parts without kits, between its first and its
    last issue of them; where a finding speaks of the part. Of the others nobody knows. It took the
    part where the store issued it for that order or a finding says that it was renewed.

    Parameters
    ----------
    records : Records
        Gives parts; its audit is told of those that no finding and no issue speaks of.
    lives : Lives
        Its visits, with the issues and findings that belong to them.

    Returns
    -------
    dict
        Part number to its share; without those of which nothing is known.
    """
    parts = list_parts(records)
    rows = parts[parts["wears"] == ON_CONDITION]
    if rows.empty or lives.gathered is None:
        return {}
    alone = ~parts.duplicated(["part", "side", "size_mm"], keep=False)
    names = set(parts.loc[alone, "part_no"])
    current = successors(list_items(records))
    booked = read_booked(records.table("parts"), lives)
    found = {
        str(row["part_no"]): _observe(
            row,
            lives,
            booked,
            numbers=[old for old, new in current.items() if new == current[row["part_no"]]],
            named=row["part_no"] in names,
        )
        for row in rows.to_dict("records")
    }
    for row in rows[rows["part_no"].map(found).isna()].to_dict("records"):
        _say_unknown(records, row)
    return {name: share for name, share in found.items() if share is not None}


def _say_unknown(records: Records, row: dict[Any, Any]) -> None:
    records.log.add(
        "caution",
        f"{row['part']} {row['part_no']} is renewed on condition, and no finding and no issue "
        "tells how often.",
        rule="share_unknown",
        table="parts",
        row=row["row"],
        consequence="How often an opening takes one isn't known: no demand and no level for it.",
        remedy="Write an issue when one is taken, or a finding (renewed or kept) when it is "
        "looked at.",
    )


def _observe(
    row: dict[Any, Any], lives: Lives, booked: Booked, *, numbers: list[str], named: bool
) -> ObservedShare | None:
    """The share of one part, under this number and those whose place it has taken.

    `named` = a finding needs no part number to mean it.
    """
    gathered = lives.gathered
    assert gathered is not None
    issued = gathered.issued[gathered.issued["item"].isin(numbers)]
    findings = gathered.findings
    mine = (findings["part"] == row["part"]) & findings["part_no"].isin(
        ["", *numbers] if named else numbers
    )
    spoken, renewed = findings[mine], findings[mine & (findings["action"] == "renewed")]
    if issued.empty and spoken.empty:
        return None
    by_store = issued.groupby("visit")["quantity"].sum()
    taken = pd.concat([by_store, _pieces_found(renewed, row["per_pump"])], axis=1).max(axis=1)
    taken = taken[taken > 0]
    at_side = _openings_of(row, lives.visits)
    drawn = at_side["visit"].isin(by_store[by_store > 0].index).to_numpy()
    known, how = find_known(at_side, drawn, booked, spoken)
    if not known.any():
        return None
    took = at_side["visit"].isin(taken.index).to_numpy()
    kinds = [known & (at_side["reason"] == kind).to_numpy() for kind in OPENINGS]
    return ObservedShare(
        renewed=np.array([float((kind & took).sum()) for kind in kinds]),
        openings=np.array([float(kind.sum()) for kind in kinds]),
        pieces=np.ceil(taken[taken.index.isin(at_side["visit"])].to_numpy(float)).astype(np.intp),
        elsewhere=float(by_store[~by_store.index.isin(at_side["visit"])].clip(lower=0.0).sum()),
        uncounted=int((took & ~known).sum()),
        known=how,
    )


def _openings_of(row: dict[Any, Any], visits: pd.DataFrame) -> pd.DataFrame:
    """Openings of a part's side on pumps of its size."""
    at_side = visits[(visits["side"] == row["side"]) & visits["reason"].isin(OPENINGS)]
    sized = at_side["size_mm"].isna() | (at_side["size_mm"] == row["size_mm"])
    kept: pd.DataFrame = at_side[sized | pd.isna(row["size_mm"])]
    return kept


def _pieces_found(renewed: pd.DataFrame, per_pump: float) -> "pd.Series[float]":
    """Pieces that findings say were renewed, by visit; a blank position means all of a pump's."""
    whole = float(np.fmax(1.0, np.nan_to_num(per_pump, nan=1.0)))
    pieces = (renewed["position"] == "").map({True: whole, False: 1.0})
    counted = renewed["count"].astype(np.float64).fillna(pieces)
    summed: pd.Series[float] = counted.groupby(renewed["visit"]).sum().clip(upper=whole)
    return summed


def share_table(records: Records, shares: dict[str, ObservedShare]) -> pd.DataFrame:
    """One row per part renewed on condition and kind of opening, `SHARE_COLUMNS`.

    Parameters
    ----------
    records : Records
    shares : dict
        By `observe_shares`.

    Returns
    -------
    DataFrame
        share with its 90 % band; blank, and a note why, where nothing is known.
    """
    parts = list_parts(records)
    rows = []
    for part in parts[parts["wears"] == ON_CONDITION].to_dict("records"):
        about = {name: part[name] for name in ("part_no", "part", "side", "size_mm")}
        share = shares.get(str(part["part_no"]))
        if share is None:
            note = "not known: no finding and no issue tells how often"
            rows.append({**about, "opening": "", "note": note})
            continue
        rows += [{**about, **_share_row(share, kind)} for kind in range(len(OPENINGS))]
    return pd.DataFrame(rows, columns=list(SHARE_COLUMNS))


def _share_row(share: ObservedShare, kind: int) -> dict[str, Any]:
    hits, misses = share.beta
    low, high = stats.beta.ppf(np.array(_BAND), hits[kind], misses[kind])
    words = []
    if share.openings[kind] < _LEAST:
        words.append("few of this kind: the share is that of all openings")
    if share.known:
        words.append(share.known)
    if share.uncounted:
        words.append(f"not counted: {count_of(share.uncounted, 'opening')} that took one")
    if share.elsewhere > 0:
        words.append(f"{share.elsewhere:.0f} more were issued at other work")
    return {
        "opening": OPENINGS[kind],
        "openings": share.openings[kind],
        "renewed": share.renewed[kind],
        "share": share.mean[kind],
        "share_low": low,
        "share_high": high,
        "pieces": share.pieces.mean() if share.pieces.size else np.nan,
        "elsewhere": share.elsewhere,
        "note": "; ".join(words),
    }
