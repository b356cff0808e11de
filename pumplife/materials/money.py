"""What each material costs at its own best interval, and the price at which it breaks even."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.build import ENDPOINTS
from pumplife.lives.positions import wearing_parts
from pumplife.materials.compare import Pair, find_reference
from pumplife.materials.confounded import YES
from pumplife.materials.releases import release_as_often, times_released
from pumplife.policy.costs import SideCosts, WorkCost, cost_rates
from pumplife.policy.groups import SideGroup
from pumplife.policy.interval import IntervalAdvice, advise_interval, cost_rate
from pumplife.policy.practice import EventRates, failed_part_rates, rates_of
from pumplife.policy.pump import SideLife
from pumplife.records.read import Records
from pumplife.weibull.draws import LifeDraws

if TYPE_CHECKING:
    from pumplife.fits.build import Fits

Floats = NDArray[np.float64]
Kinds = tuple[str, ...]

DRAWS = 100  # of the study's, at most
SEEN = 0.5  # fewer failures than this are none


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """Sides of one service, size and hazard, whatever kit they carry.

    Attributes
    ----------
    group : SideGroup
        The one with most usage; its work, downtime and limits stand for all.
    usage : float
        Of all its pumps [usage / year].
    kinds : tuple of str (parts,)
        What the group's kit is made of, part by part.
    fitted : set of tuple of str
        Make-ups of the kits that its pumps carry.
    used : mapping of (part, kind) to float
        Of the pumps that carry the part in that material today [usage / year].
    """

    group: SideGroup
    usage: float
    kinds: Kinds
    fitted: frozenset[Kinds]
    used: Mapping[tuple[str, str], float]

    def __repr__(self) -> str:
        return f"Place({self.group.title})"

    def usage_with(self, part: str, kind: str) -> float:
        """Of the pumps that carry a part in a material today [usage / year]."""
        return self.used.get((part, kind), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """One make-up of a kit in one place, at its own best interval.

    Attributes
    ----------
    place : Place
    kinds : tuple of str (parts,)
    group : SideGroup
        The place's, with the lives and costs of this make-up.
    cost : float array (draws,)
        [money / usage unit]
    interval : float
        [usage]; inf means run to failure.
    failures, releases, downtime_h : float
        Per usage unit, posterior means.
    kit_price : float
        [money]
    unit_price : float array (parts,)
        [money]
    least, per_price : float arrays (times + 1,), and (times + 1, parts)
        Expected cost rate at every interval and of the failed part alone [money / usage unit],
        and what one more unit of money in the price of a part adds to it.
    """

    place: Place
    kinds: Kinds
    group: SideGroup
    cost: Floats
    interval: float
    failures: float
    releases: float
    downtime_h: float
    kit_price: float
    unit_price: Floats
    least: Floats
    per_price: Floats

    def __repr__(self) -> str:
        return f"Choice({', '.join(self.kinds)}: {self.cost.mean():.4g} a usage unit)"

    def breaks_even(self, part: int, other: float) -> float:
        """Unit price of a part at which the choice costs as much as another [money]; 0 if never.

        The cheapest of ways that each grow in a straight line with the price reaches a cost where
        the last of them does.
        """
        slope = self.per_price[:, part]
        with np.errstate(divide="ignore", invalid="ignore"):
            room = np.where(slope > 0.0, (other - self.least) / slope, -np.inf)
        return max(0.0, float(self.unit_price[part] + room.max()))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Book:
    """Prices, fits by what they are of, and comparisons."""

    fits: Fits
    fit_rows: dict[tuple[str, str, str, str, float], int]
    prices: pd.DataFrame
    pairs: dict[tuple[str, str, str, str], Pair]
    released: Mapping[tuple[str, ...], float]

    def __repr__(self) -> str:
        return f"_Book({len(self.prices)} parts)"


def _open_book(
    records: Records, fits: Fits, pairs: Sequence[Pair], released: Mapping[tuple[str, ...], float]
) -> _Book:
    """Look fits of today and prices up once; size -1 stands for sizes fitted together."""
    table = fits.table[fits.table["mode"].eq("") & fits.table["period"].eq("")]
    kind = (table["material"] + " " + table["variant"]).str.strip()
    size = table["size_mm"].fillna(-1.0)
    names = zip(table["service"], table["part"], kind, table["endpoint"], size, strict=True)
    return _Book(
        fits=fits,
        fit_rows={name: int(str(row)) for name, row in zip(names, table.index, strict=True)},
        prices=part_prices(records),
        pairs={(p.service, p.side, p.part, p.kind): p for p in pairs if p.service},
        released=released,
    )


def price_choices(
    records: Records,
    fits: Fits,
    groups: Sequence[SideGroup],
    facts: pd.DataFrame,
    pairs: Sequence[Pair],
    *,
    released: Mapping[tuple[str, ...], float],
) -> list[Choice]:
    """Cost of every material of every part, the other parts being of their reference material.

    Make-ups that kits in use already have (a diaphragm of one material, balls of another) stand
    beside these. Lives of a material that is comparable are those of its fit, their scale moved so
    that its ratio to the reference has the doubt of the like-for-like comparison, pumps clustered.

    Parameters
    ----------
    records : Records
        Prices of parts.
    fits : Fits
    groups : sequence of SideGroup
    facts : DataFrame
        From `gather_facts`.
    pairs : sequence of Pair
    released : mapping
        From `compare_releases`.

    Returns
    -------
    list of Choice
        Place by place, the one of reference materials first.
    """
    used = dict(iter(facts.groupby(["service", "side", "part"], sort=True)))
    book = _open_book(records, fits, pairs, released)
    target = records.plant.hazardous_failure_probability
    found: list[Choice] = []
    for place in _find_places(fits, groups):
        group = place.group
        held = [used.get((group.service, group.side, part)) for part in group.part]
        if not any(rows is not None and len(set(rows["kind"])) > 1 for rows in held):
            continue
        first = tuple(
            kind if rows is None else find_reference(rows)
            for kind, rows in zip(place.kinds, held, strict=True)
        )
        for kinds in _make_ups(place, first, held):
            swapped = _exchange(place, kinds, first, book)
            if swapped is not None:
                made, price, times = swapped
                found.append(weigh_make_up(made, price, place, kinds, target=target, times=times))
    return found


def _find_places(fits: Fits, groups: Sequence[SideGroup]) -> Iterator[Place]:
    """Bring the groups of one service, size, side and hazard together."""
    keyed: dict[tuple[object, ...], list[SideGroup]] = {}
    for group in groups:
        if not group.missing and group.costs is not None:
            size = -1.0 if np.isnan(group.size_mm) else group.size_mm
            keyed.setdefault((group.service, size, group.side, group.hazard), []).append(group)
    for members in keyed.values():
        most = max(members, key=lambda group: float(group.usage_per_year.sum()))
        alike = [group for group in members if group.part == most.part]
        used: Counter[tuple[str, str]] = Counter()
        for group in members:
            kinds = zip(group.part, _kinds(fits, group), strict=True)
            used.update(dict.fromkeys(kinds, float(group.usage_per_year.sum())))
        yield Place(
            group=most,
            usage=float(sum(group.usage_per_year.sum() for group in members)),
            kinds=_kinds(fits, most),
            fitted=frozenset(_kinds(fits, group) for group in alike),
            used=used,
        )


def _kinds(fits: Fits, group: SideGroup) -> Kinds:
    """Material and variant of each part of a group's kit."""
    rows = fits.table.iloc[group.fit_rows]
    return tuple((rows["material"] + " " + rows["variant"]).str.strip())


def _make_ups(place: Place, first: Kinds, held: Sequence[pd.DataFrame | None]) -> Iterator[Kinds]:
    """All of reference materials, each part exchanged alone, and the kits in use."""
    told = [first]
    for at, rows in enumerate(held):
        others = [] if rows is None else sorted(set(rows["kind"]) - {first[at]})
        told += [(*first[:at], kind, *first[at + 1 :]) for kind in others]
    yield from dict.fromkeys([*told, *sorted(place.fitted)])


def part_prices(records: Records) -> pd.DataFrame:
    """Latest price of each part number that is valid at the end of the records."""
    rows = records.table("parts")
    valid = ~(rows["valid_from"] > records.plant.records_to) & rows["unit_cost"].notna()
    latest = rows[valid].sort_values("valid_from", kind="stable", na_position="first")
    latest = latest.drop_duplicates("part_no", keep="last")[["part_no", "unit_cost"]]
    told = wearing_parts(records).merge(latest, on="part_no")
    return told.assign(kind=(told["material"] + " " + told["variant"]).str.strip())


def unit_price(prices: pd.DataFrame, part: str, kind: str, size: float) -> float:
    """Price of a part [money]; NaN where none is written for its size."""
    rows = prices[(prices["part"] == part) & (prices["kind"] == kind)]
    sized = rows[(rows["size_mm"] == size) | rows["size_mm"].isna()]
    return float(sized["unit_cost"].iloc[0]) if len(sized) else np.nan


def _exchange(
    place: Place,
    kinds: Kinds,
    first: Kinds,
    book: _Book,
) -> tuple[SideGroup, Floats, Floats] | None:
    """The group with other materials, its unit prices and how often its failures release.

    None where a life or price lacks.
    """
    group, prices = place.group, book.prices
    size = float(group.size_mm)
    new = np.array([unit_price(prices, *one, size) for one in zip(group.part, kinds, strict=True)])
    old = [unit_price(prices, *one, size) for one in zip(group.part, place.kinds, strict=True)]
    same = np.array([mine == theirs for mine, theirs in zip(kinds, place.kinds, strict=True)])
    more = np.where(same, 0.0, new - np.array(old))
    lives = [
        _draw_life(book, group, part, kind, base)
        for part, kind, base in zip(group.part, kinds, first, strict=True)
    ]
    drawn = [one for one in lives if one is not None]
    if len(drawn) < len(lives) or not np.isfinite(more).all():
        return None
    names = ("early_share", "early_scale", "shape", "scale")
    stacked = LifeDraws(**{name: np.stack([getattr(d, name) for d in drawn]) for name in names})
    assert group.costs is not None, "places have costs"
    times = times_released(book.released, (group.service, group.side), group.part, kinds)
    costs = release_as_often(reprice(group.costs, more, group.count), times)
    return replace(group, lives=stacked, costs=costs), new, times


def _draw_life(book: _Book, group: SideGroup, part: str, kind: str, base: str) -> LifeDraws | None:
    """Draws of a part's life in a material; None where none was fitted."""
    own = _find_draws(book, group, part, kind)
    reference = _find_draws(book, group, part, base)
    pair = book.pairs.get((group.service, group.side, part, kind))
    if own is None or reference is None or pair is None or pair.verdict.comparable != YES:
        return own
    if not np.isfinite([pair.ratio.estimate, pair.ratio.low, pair.ratio.high]).all():
        return own
    apart = np.argsort(np.argsort(np.log(own.scale) - np.log(reference.scale), kind="stable"))
    log_ratio = pair.ratio.draw((apart + 0.5) / len(apart))
    return replace(own, scale=reference.scale * np.exp(np.clip(log_ratio, -7.0, 7.0)))


def _find_draws(book: _Book, group: SideGroup, part: str, kind: str) -> LifeDraws | None:
    """Draws of a part's fit; hazardous groups take the earlier endpoint where it is fitted."""
    size = float(group.size_mm)
    endpoints = ENDPOINTS[::-1] if group.hazard == "hazardous" else ENDPOINTS[:1]
    keys = [(group.service, part, kind, end, one) for end in endpoints for one in (size, -1.0)]
    row = next((book.fit_rows[key] for key in keys if key in book.fit_rows), -1)
    draws = book.fits.draws
    if row < 0 or not np.isfinite(draws.scale[row]).all():
        return None
    return draws[row, :: max(1, draws.scale.shape[1] // DRAWS)]


def reprice(costs: SideCosts, more: Floats, count: Floats) -> SideCosts:
    """Costs with each part dearer by `more` [money], and the kit by all it holds of them."""
    kit = float(more @ count)
    again = 1.0 + costs.opening_fault

    def dearer(work: WorkCost, cash: Floats | float) -> WorkCost:
        return replace(work, cash=work.cash + cash)

    return replace(
        costs,
        planned=dearer(costs.planned, kit * again),
        kit_failure=dearer(costs.kit_failure, kit * again),
        part_failure=dearer(costs.part_failure, more + kit * costs.opening_fault),
        kit_price=costs.kit_price + kit,
    )


def weigh_make_up(
    group: SideGroup,
    unit_price: Floats,
    place: Place,
    kinds: Kinds,
    *,
    target: float,
    times: Floats,
) -> Choice:
    """Find the best interval of a make-up, or the failed part alone where that is cheaper.

    times says how often the failures of each part release fluid, over what costs hold.
    """
    costs = group.costs
    assert costs is not None, "places have costs"
    side = SideLife(lives=group.lives, count=group.count)
    advice = advise_interval(
        side,
        costs.planned_money,
        costs.failure_money,
        maximum=group.maximum,
        releasing=group.releases if group.hazard == "hazardous" else None,
        release_target=target,
        failures_seen=group.failures >= SEEN,
    )
    alone = failed_part_rates(group.lives.mean(), group.count)
    planned = rates_of(advice.at_interval)
    cost_alone, cost_planned = cost_rates(costs, alone), cost_rates(costs, planned)
    bound = np.isfinite(advice.interval) and advice.binding_limit != "cost"
    pays = not bound and cost_alone.money.mean() < cost_planned.money.mean()
    cost, events = (cost_alone, alone) if pays else (cost_planned, planned)
    often = times[group.releases]
    least, per_price = _lines(advice, costs, (alone, cost_alone.money), group.count)
    return Choice(
        place=place,
        kinds=kinds,
        group=group,
        cost=cost.money,
        interval=np.inf if pays else advice.interval,
        failures=float(events.failures.sum(axis=0).mean()),
        releases=float((often @ events.failures[group.releases]).mean()),
        downtime_h=float(cost.downtime_h.mean()),
        kit_price=costs.kit_price,
        unit_price=unit_price,
        least=least,
        per_price=per_price,
    )


def _lines(
    advice: IntervalAdvice, costs: SideCosts, alone: tuple[EventRates, Floats], count: Floats
) -> tuple[Floats, Floats]:
    """Expected cost rate of every allowed way, and how it grows with the price of each part."""
    limit = min((one for one in advice.limits.values() if one > 0.0), default=np.inf)
    allowed = advice.times <= limit
    known = advice.known
    whole = cost_rate(known, costs.planned_money, costs.failure_money).mean(axis=1)
    renewals = ((known.survival + known.incidence.sum(axis=1)) / known.uptime).mean(axis=1)
    by_part = renewals[:, None] * count * (1.0 + costs.opening_fault)
    least, per_price = whole[allowed], by_part[allowed]
    if np.isfinite(limit):
        return least, per_price
    failures = alone[0].failures.mean(axis=1)
    own = failures + costs.opening_fault * count * failures.sum()
    return np.append(least, alone[1].mean()), np.vstack([per_price, own])
