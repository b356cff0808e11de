"""Which part is asked for how often, which kit brings it, what is left uncovered and left over.

Everything is counted from the same simulated futures as the levels: of every opening it is known
whether the kit was fitted and which part had failed. In every row

    demand + surplus = supplied by kits + uncovered.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.build import Lives
from pumplife.policy.groups import SideGroup
from pumplife.policy.simulate import SideEvents
from pumplife.records.read import Records
from pumplife.stock.loose import LoosePart, kit_contents, mean_pieces
from pumplife.stock.on_condition import list_parts

FloatArray = NDArray[np.float64]

COVERAGE_COLUMNS = (
    "store",
    "part_no",
    "part",
    "services",
    "kits",
    "failed_per_year",
    "demand_per_year",
    "kit_supplied_per_year",
    "uncovered_per_year",
    "surplus_per_year",
    "surplus_value",
    "why",
)
_SUMS = (
    "failed_per_year",
    "demand_per_year",
    "kit_supplied_per_year",
    "uncovered_per_year",
    "surplus_per_year",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Openings:
    """Mean openings a year of a group's pumps that one store serves, the first year.

    Attributes
    ----------
    with_kit : float array (2,)
        Planned and after a breakdown, at which the kit is fitted [1/year].
    without_kit : float array (2,)
        The same at which it isn't [1/year].
    failed : float array (parts, 2)
        Failures of each part, with and without the kit fitted [1/year].
    """

    with_kit: FloatArray
    without_kit: FloatArray
    failed: FloatArray

    def __repr__(self) -> str:
        return f"Openings({self.with_kit.sum():.3g} with the kit, {self.without_kit.sum():.3g})"


@dataclass(slots=True, kw_only=True, eq=False)
class OpeningTally:
    """Counts the openings of each group and store while the futures are simulated.

    Attributes
    ----------
    replicates : int
        Simulated futures.
    found : dict
        (title of the group's stream, store) to its openings.
    """

    replicates: int
    found: dict[tuple[str, str], Openings] = field(default_factory=dict)

    def __call__(self, group: SideGroup, events: SideEvents) -> None:
        """Count one group's events of the first year."""
        first = events.time <= 1.0
        parts = len(group.part)
        failed = events.position >= 0
        part = group.part_of[np.maximum(events.position, 0)]
        kind = np.where(failed, part + 1, 0) + np.where(events.kit, 0, parts + 1)
        stores = sorted({str(store) for store in group.store})
        store = np.searchsorted(stores, group.store.astype(str))[events.pump]
        cell = store[first] * (2 * parts + 2) + kind[first]
        counts = np.bincount(cell, minlength=len(stores) * (2 * parts + 2)) / self.replicates
        for name, row in zip(stores, counts.reshape(-1, 2, parts + 1), strict=True):
            sums = np.stack([row[:, 0], row[:, 1:].sum(axis=1)])
            self.found[group.stream, name] = Openings(
                with_kit=sums[:, 0], without_kit=sums[:, 1], failed=row[:, 1:].T
            )


def cover_parts(
    records: Records,
    lives: Lives,
    groups: Sequence[SideGroup],
    loose: Sequence[Sequence[LoosePart]],
    *,
    tally: OpeningTally,
    fouling: Sequence[float],
) -> pd.DataFrame:
    """Demand by part beside what kits supply of it.

    Parameters
    ----------
    records : Records
        Gives parts and kit_contents.
    lives : Lives
        Its findings tell which parts were kept though the kit was fitted.
    groups : sequence of SideGroup
    loose : sequence of sequences of LoosePart
        By `find_loose_parts`.
    tally : OpeningTally
        Was shown the groups' events.
    fouling : sequence of float
        Per group, the probability that a release also takes the pump's air kit [-].

    Returns
    -------
    DataFrame
        One row per store and part number, `COVERAGE_COLUMNS`, pieces a year in the first year.
        demand is what goes into the pumps: failed pieces, those that the kit renews with them, and
        what openings take on condition or always. surplus is what kits bring and nobody fits;
        surplus_value is its money. A row of which the demand isn't known says why.
    """
    book = _open_book(records, lives)
    rows: list[dict[str, Any]] = []
    for number, (group, parts) in enumerate(zip(groups, loose, strict=True)):
        for store in sorted({str(place) for place in group.store}):
            openings = tally.found[group.stream, store]
            rows += _kit_rows(book, group, store, openings, parts)
            rows += _loose_rows(group, store, openings, parts)
        if fouling[number] > 0:
            rows += _fouled_rows(book, groups, group, tally, fouling[number])
    return _add_up(book, rows)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Book:
    """Parts by number, what is in each kit, and the share of each kit part that is kept."""

    parts: pd.DataFrame
    contents: dict[str, dict[str, float]]
    kept: dict[tuple[str, str], float]


def _open_book(records: Records, lives: Lives) -> _Book:
    parts = list_parts(records).set_index("part_no")
    contents = kit_contents(records)
    return _Book(parts=parts, contents=contents, kept=_shares_kept(parts, contents, lives))


def _shares_kept(
    parts: pd.DataFrame, contents: dict[str, dict[str, float]], lives: Lives
) -> dict[tuple[str, str], float]:
    """Share of a kit's pieces that the pump didn't take: findings say that the old ones stayed."""
    if lives.gathered is None:
        return {}
    visits = lives.visits[~lives.visits["kit"].isin(["", "none"])]
    fitted = visits["kit"].value_counts().to_dict()
    findings = lives.gathered.findings
    stayed = findings[findings["action"].isin(["kept", "cleaned"])]
    joined = stayed.merge(visits[["visit", "kit"]], on="visit")
    shares = {}
    for (kit, part), rows in joined.groupby(["kit", "part"]):
        for part_no, quantity in contents.get(str(kit), {}).items():
            if part_no in parts.index and parts.at[part_no, "part"] == part and quantity > 0:
                single = rows["count"].where(rows["count"].notna(), 1.0)
                pieces = single.where((rows["position"] != "") | rows["count"].notna(), quantity)
                kept = pieces.groupby(rows["visit"]).sum().clip(upper=quantity).sum()
                shares[str(kit), part_no] = float(kept / (fitted[str(kit)] * quantity))
    return shares


def _kit_rows(
    book: _Book,
    group: SideGroup,
    store: str,
    openings: Openings,
    loose: Sequence[LoosePart],
) -> Iterator[dict[str, Any]]:
    """What kits fitted bring of each part that isn't looked at or always taken."""
    known = {part.part_no for part in loose}
    failed = dict(zip(group.part_no, openings.failed, strict=True))
    kits = openings.with_kit.sum()
    for part_no, quantity in book.contents.get(group.kit, {}).items():
        if part_no not in known:
            of_kit = _of_kits(book, group.kit, part_no, quantity, kits)
            alone = failed.get(part_no, np.zeros(2))
            yield {
                **_about(group, store, part_no),
                **of_kit,
                "failed_per_year": alone.sum(),
                "demand_per_year": of_kit["demand_per_year"] + alone[1],
                "uncovered_per_year": alone[1],
            }


def _of_kits(book: _Book, kit: str, part_no: str, quantity: float, kits: float) -> dict[str, float]:
    """Pieces of one part that so many kits bring, and what of them is fitted."""
    whole = float(book.parts["per_pump"].get(part_no, np.nan))
    fitted = np.fmin(quantity, whole) * (1.0 - book.kept.get((kit, part_no), 0.0))
    return {
        "failed_per_year": 0.0,
        "demand_per_year": kits * fitted,
        "kit_supplied_per_year": kits * quantity,
        "uncovered_per_year": 0.0,
        "surplus_per_year": kits * (quantity - fitted),
    }


def _loose_rows(
    group: SideGroup, store: str, openings: Openings, loose: Sequence[LoosePart]
) -> Iterator[dict[str, Any]]:
    """What openings take on condition or always; the kit's own pieces first."""
    count = np.stack([openings.with_kit, openings.without_kit], axis=1)
    for part in loose:
        need, from_kit, taken = (float((count * mean).sum()) for mean in mean_pieces(part))
        supplied = float(openings.with_kit.sum()) * part.held
        amounts = {
            "failed_per_year": 0.0,
            "demand_per_year": need,
            "kit_supplied_per_year": supplied,
            "uncovered_per_year": taken,
            "surplus_per_year": supplied - from_kit,
        }
        if part.why:
            amounts |= dict.fromkeys(_SUMS, np.nan) | {"kit_supplied_per_year": supplied}
        yield {
            **_about(group, store, part.part_no, kit=group.kit if part.held else ""),
            **amounts,
            "why": part.why,
        }


def _fouled_rows(
    book: _Book,
    groups: Sequence[SideGroup],
    group: SideGroup,
    tally: OpeningTally,
    probability: float,
) -> Iterator[dict[str, Any]]:
    """Air kits that releases of a fluid group take, by the store of its pumps."""
    kits = {int(pump): g for g in groups if g.side == "air" for pump in g.pumps}
    for store in sorted({str(place) for place in group.store}):
        failed = tally.found[group.stream, store].failed
        fouled = float(failed[group.releases].sum()) * probability
        mine = [kits.get(int(pump)) for pump in group.pumps[group.store.astype(str) == store]]
        for other in {g.kit: g for g in mine if g is not None}.values():
            share = float(np.mean([g is not None and g.kit == other.kit for g in mine]))
            for part_no, quantity in book.contents.get(other.kit, {}).items():
                yield {
                    **_about(other, store, part_no),
                    **_of_kits(book, other.kit, part_no, quantity, fouled * share),
                }


def _about(group: SideGroup, store: str, part_no: str, *, kit: str | None = None) -> dict[str, Any]:
    return {
        "store": store,
        "part_no": part_no,
        "services": group.service,
        "kits": group.kit if kit is None else kit,
        "why": "",
    }


def _add_up(book: _Book, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """One row per store and part, the groups and kits that it serves named together."""
    if not rows:
        return pd.DataFrame(columns=list(COVERAGE_COLUMNS))
    grouped = pd.DataFrame(rows).groupby(["store", "part_no"], as_index=False, sort=True)
    names = grouped[["services", "kits", "why"]].agg(_names)
    table = names.merge(grouped[list(_SUMS)].sum(), on=["store", "part_no"])
    unknown = (table["why"] != "").to_numpy()
    blank = [name for name in _SUMS if name != "kit_supplied_per_year"]
    table.loc[unknown, blank] = np.nan
    price = table["part_no"].map(book.parts["unit_cost"]).astype(float)
    return table.assign(
        part=table["part_no"].map(book.parts["part"]).fillna(""),
        surplus_value=table["surplus_per_year"] * price,
    )[list(COVERAGE_COLUMNS)]


def _names(cells: "pd.Series[str]") -> str:
    return ", ".join(sorted({cell for cell in cells if cell}))
