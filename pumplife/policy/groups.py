"""Pump groups: the sides of pumps of one service, size, kit and hazard, with ages and costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pumplife.fits.rules import read_rules
from pumplife.lives.build import Lives
from pumplife.lives.positions import kit_parts
from pumplife.policy.cost_book import CostBook, open_cost_book
from pumplife.policy.costs import SideCosts, SideScope, side_costs
from pumplife.policy.evidence import Evidence, weigh_evidence
from pumplife.policy.missing import why_missing, why_too_short
from pumplife.policy.practice import find_planned_ages
from pumplife.policy.pump import FloatArray, SideLife
from pumplife.policy.simulate import BoolArray, IntArray, PlannedAges
from pumplife.policy.today import duty_today, sides_today
from pumplife.records.duty import Duty
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock
from pumplife.weibull.draws import LifeDraws

if TYPE_CHECKING:
    from pumplife.fits.build import Fits

DAYS_PER_YEAR = 365.25
KEYS = ["service", "size_mm", "side", "kit", "hazard"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideGroup:
    """Like sides of like pumps: one row of the intervals table.

    Attributes
    ----------
    service, side, kit, hazard : str
    size_mm : float
        NaN where not known.
    pumps : int array (pumps,)
        Rows of the pumps table.
    site, location, store : object array (pumps,)
    part, part_no, material : tuple of str (parts,)
        What wears in the kit.
    count : float array (parts,)
        Positions of each part.
    releases : bool array (parts,)
        Parts whose failure lets process fluid out.
    fit_rows : int array (parts,)
        Rows of the fits table, -1 where there is none.
    failures : float
        Failures behind the fits of all parts.
    lives : LifeDraws (parts, draws)
        Empty where `missing` says why.
    alone : LifeDraws (parts, draws)
        The same where few failures borrow from no like service: what a limit is held to besides.
    part_of : int array (positions,)
        Part of each position.
    age : float array (pumps, positions)
        [usage]; where not known, the least that it can be.
    known : bool array (pumps, positions)
    most : float array (pumps, positions)
        The most that an age can be [usage], inf where nothing bounds it.
    clock_age : float array (pumps,)
        Usage since the last renewal of the whole side, at least [usage].
    clock_day : float array (pumps,)
        Day of that renewal, or of the first record [day].
    clock_known : bool array (pumps,)
    rate : float array (pumps,)
        Usage a day today; the group's median where a pump's own isn't known [usage / day].
    own_limit : float array (pumps,)
        The maker's or legal limit of each pump [usage], inf where it has none.
    maximum : float
        The longest that any of its pumps may run [usage]; each keeps its own limit besides.
    evidence : Evidence
        Whether there are failures enough to advise an interval by cost.
    planned : PlannedAges
        Ages at planned renewals today.
    kit_share : float
        Share of the failures at which the whole side is renewed today.
    costs : SideCosts or None
    missing : str
        Why no interval can be advised; "" where one can.
    """

    service: str
    side: str
    kit: str
    hazard: str
    size_mm: float
    pumps: IntArray
    site: np.ndarray[tuple[int], np.dtype[np.object_]]
    location: np.ndarray[tuple[int], np.dtype[np.object_]]
    store: np.ndarray[tuple[int], np.dtype[np.object_]]
    part: tuple[str, ...]
    part_no: tuple[str, ...]
    material: tuple[str, ...]
    count: FloatArray
    releases: BoolArray
    fit_rows: IntArray
    failures: float
    lives: LifeDraws
    alone: LifeDraws
    part_of: IntArray
    age: FloatArray
    known: BoolArray
    most: FloatArray
    clock_age: FloatArray
    clock_day: FloatArray
    clock_known: BoolArray
    rate: FloatArray
    own_limit: FloatArray
    maximum: float
    evidence: Evidence
    planned: PlannedAges
    kit_share: float
    costs: SideCosts | None
    missing: str

    def __repr__(self) -> str:
        """Name the group."""
        return f"<SideGroup: {self.title}, {self.pumps.size} pumps>"

    @property
    def title(self) -> str:
        """The group in words."""
        size = "" if np.isnan(self.size_mm) else f" {self.size_mm:g} mm"
        hazard = ", hazardous" if self.hazard == "hazardous" else ""
        return f"{self.service}{size}, {self.side} side, kit {self.kit or 'not known'}{hazard}"

    @property
    def life(self) -> SideLife:
        """The side as parts in series."""
        return SideLife(lives=self.lives, count=self.count)

    @property
    def alone_life(self) -> SideLife | None:
        """The side by its own failures alone, None where it borrows nothing."""
        same = np.array_equal(self.alone.scale, self.lives.scale, equal_nan=True)
        return None if same else SideLife(lives=self.alone, count=self.count)

    @property
    def stream(self) -> str:
        """The name of its random stream: its own, whatever stands beside it."""
        limit = float(self.own_limit.min())
        return self.title if np.isinf(limit) else f"{self.title}, {limit:g}"

    @property
    def position_lives(self) -> LifeDraws:
        """Lives of the positions, (positions, draws)."""
        return self.lives[self.part_of]

    @property
    def usage_per_year(self) -> FloatArray:
        """Usage of each pump a year, (pumps,) [usage / year]."""
        return self.rate * DAYS_PER_YEAR


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Plant:
    """What all groups look things up in."""

    records: Records
    lives: Lives
    fits: Fits
    sides: pd.DataFrame  # one row per side of a pump in service
    contents: pd.DataFrame  # wearing parts of each kit
    book: CostBook
    hazard: pd.Series[str]  # of each pump today
    least: tuple[float, float]  # failures from which an interval is advised: own, of like services


def build_groups(
    records: Records, duty: Duty, clock: UsageClock, lives: Lives, fits: Fits
) -> tuple[SideGroup, ...]:
    """All groups of sides of the pumps in service at the end of the records.

    Parameters
    ----------
    records : Records
    duty : Duty
    clock : UsageClock
    lives : Lives
    fits : Fits

    Returns
    -------
    tuple of SideGroup
        Sorted by service, size, side, kit and hazard.
    """
    today = duty_today(records, duty)
    sides = sides_today(records, clock, lives, today)
    rules = read_rules(records.plant.evidence)
    plant = _Plant(
        records=records,
        lives=lives,
        fits=fits,
        sides=sides,
        contents=_kit_contents(records),
        book=open_cost_book(records, lives, today),
        hazard=today["hazard"],
        least=(rules.advise, rules.advise_lent),
    )
    frames = sides.groupby(KEYS, sort=True, dropna=False)
    return tuple(_build_group(plant, rows) for _, rows in frames)


def _kit_contents(records: Records) -> pd.DataFrame:
    """Wearing parts of each kit with whether they release fluid."""
    contents = kit_parts(records)
    keys = ["kit", "part", "material", "variant"]
    first = contents.groupby(keys, sort=False, as_index=False).agg(
        part_no=("part_no", "first"),
        side=("side", "first"),
        releases=("releases", "any"),
        quantity=("quantity", "sum"),
    )
    return first[first["quantity"] >= 1.0]


def _build_group(plant: _Plant, rows: pd.DataFrame) -> SideGroup:
    """One group from the rows of its pumps."""
    key = rows.iloc[0]
    inside = plant.contents[
        (plant.contents["kit"] == key["kit"]) & (plant.contents["side"] == key["side"])
    ]
    fit_rows = _fit_rows(plant.fits, key, inside)
    lives = plant.fits.draws[np.maximum(fit_rows, 0)]
    count = np.round(inside["quantity"].to_numpy(float))
    part_of = np.repeat(np.arange(len(inside)), count.astype(int))
    age, known, most = _position_ages(plant.lives.now, rows, inside["part"].to_numpy()[part_of])
    costs = _group_costs(plant, rows, inside, lives) if len(inside) else None
    visits = _visits(plant, rows)
    now = rows.loc[rows["clock_known"], "clock_age"].to_numpy(float)
    planned, kit_share = find_practice(visits, now)
    own_limit = rows["maximum"].fillna(np.inf).to_numpy(float)
    rate = rows["rate"].to_numpy(float)
    usual = np.nanmedian(rate) if np.isfinite(rate).any() else np.nan
    return SideGroup(
        service=key["service"],
        side=key["side"],
        kit=key["kit"],
        hazard=key["hazard"],
        size_mm=float(key["size_mm"]),
        pumps=rows["pump"].to_numpy(np.int64),
        site=rows["site"].to_numpy(object),
        location=rows["location"].to_numpy(object),
        store=rows["store"].to_numpy(object),
        part=tuple(inside["part"]),
        part_no=tuple(inside["part_no"]),
        material=tuple(inside["material"]),
        count=count,
        releases=inside["releases"].to_numpy(bool),
        fit_rows=fit_rows,
        failures=float(plant.fits.table["failures"].iloc[np.unique(fit_rows[fit_rows >= 0])].sum()),
        lives=lives,
        alone=plant.fits.alone[np.maximum(fit_rows, 0)],
        part_of=part_of,
        age=age,
        known=known,
        most=most,
        clock_age=rows["clock_age"].to_numpy(float),
        clock_day=rows["clock_day"].to_numpy(float),
        clock_known=rows["clock_known"].to_numpy(bool),
        rate=np.where(np.isfinite(rate), rate, usual),
        own_limit=own_limit,
        maximum=float(own_limit.max()),
        evidence=weigh_evidence(plant.fits.table, fit_rows, plant.least, visits),
        planned=planned,
        kit_share=kit_share,
        costs=costs,
        missing=why_missing(
            key,
            inside,
            (fit_rows < 0) | ~np.isfinite(lives.scale).all(axis=1),
            np.nan if costs is None else costs.kit_price,
            float(usual),
        )
        or why_too_short(rows, own_limit),
    )


def _fit_rows(fits: Fits, key: pd.Series[str], inside: pd.DataFrame) -> IntArray:
    """Row of the fits for each part; hazardous groups take the earlier endpoint where fitted."""

    def find(part: str, material: str, variant: str, endpoint: str) -> int:
        size = float(key["size_mm"])
        return fits.find(key["service"], size, part, material, variant, endpoint=endpoint)

    names = list(zip(inside["part"], inside["material"], inside["variant"], strict=True))
    rows = np.array([find(*name, "failed") for name in names], dtype=np.int64)
    if key["hazard"] != "hazardous":
        return rows
    earlier = np.array([find(*name, "worn or failed") for name in names], dtype=np.int64)
    return np.where(earlier >= 0, earlier, rows)


def _position_ages(
    now: pd.DataFrame, rows: pd.DataFrame, slots: np.ndarray[tuple[int], np.dtype[np.object_]]
) -> tuple[FloatArray, BoolArray, FloatArray]:
    """Ages of the positions of each pump, the n-th of a part in the n-th slot of that part."""
    pumps = rows["pump"].to_numpy(np.int64)
    age = np.zeros((pumps.size, slots.size))
    known = np.zeros(age.shape, bool)
    most = np.full(age.shape, np.inf)
    mine = now[(now["side"] == rows["side"].iloc[0]) & now["pump"].isin(pumps)]
    mine = mine.sort_values(["pump", "part", "position"], kind="stable")
    order = pd.DataFrame({"part": slots, "slot": np.arange(slots.size)})
    order = order.assign(nth=order.groupby("part").cumcount())
    mine = mine.assign(nth=mine.groupby(["pump", "part"]).cumcount())
    placed = mine.merge(order, on=["part", "nth"])
    row = pd.Index(pumps).get_indexer(pd.Index(placed["pump"]))
    slot = placed["slot"].to_numpy(np.int64)
    written = placed["age"].to_numpy(float)
    age[row, slot] = np.nan_to_num(written)
    known[row, slot] = (placed["known"] == "yes").to_numpy() & np.isfinite(written)
    most[row, slot] = placed["most"].to_numpy(float)
    return age, known, most


def _group_costs(
    plant: _Plant, rows: pd.DataFrame, inside: pd.DataFrame, lives: LifeDraws
) -> SideCosts:
    """Costs of the group's work."""
    key = rows.iloc[0]
    early = float((lives.early_share.mean(axis=1) * inside["quantity"].to_numpy(float)).sum())
    rate = np.nan_to_num(rows["rate"].to_numpy(float))
    weight = rate / rate.sum() if rate.sum() > 0.0 else np.full(len(rows), 1.0 / len(rows))
    scope = SideScope(
        service=key["service"],
        side=key["side"],
        kit=key["kit"],
        part_no=tuple(inside["part_no"]),
        releases=inside["releases"].to_numpy(bool),
        early_faults=early,
        pumps=rows["pump"].to_numpy(np.int64),
        weight=weight,
        air_kits=tuple(rows["air_kit"]),
    )
    return side_costs(plant.records, plant.book, scope)


def _visits(plant: _Plant, rows: pd.DataFrame) -> pd.DataFrame:
    """Visits of the group's pumps and side, in its service."""
    key = rows.iloc[0]
    visits = plant.lives.visits
    mine = (visits["side"] == key["side"]) & (visits["service"] == key["service"])
    found: pd.DataFrame = visits[mine & visits["pump"].isin(rows["pump"])]
    return found


def find_practice(visits: pd.DataFrame, now: FloatArray) -> tuple[PlannedAges, float]:
    """Planned ages and the share of whole renewals at failures, from a group's visits.

    A visit that fitted the kit counts as whole, even where a part or two was kept; planned ages
    are counted from the last such visit.

    Parameters
    ----------
    visits : DataFrame
        Of the group's pumps and side, in its service.
    now : float array
        Ages of its sides today, where known [usage].
    """
    visits = visits[visits["renewed"].astype(bool)]
    whole = visits["whole"].astype(bool) | ~visits["kit"].isin(["", "none"])
    broken = visits["breakdown"].astype(bool)
    share = float(whole[broken].mean()) if broken.any() else 1.0
    ends = visits[whole]
    age = np.concatenate([ends["age_of_kit"].to_numpy(float), now])
    planned = np.concatenate([~ends["breakdown"].to_numpy(bool), np.zeros(now.size, bool)])
    return find_planned_ages(age, planned), share
