"""Pieces under way: on which day they come, and what is asked of the shelf before they do."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.stock.needs import Needs

FloatArray = NDArray[np.float64]
Counts = NDArray[np.int32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coming:
    """Pieces under way of one item in one store that are expected on some day.

    Attributes
    ----------
    days : array (arrivals,)
        When they are expected, ascending, each day once; 0 where that is past [days from today].
    pieces : array (arrivals,)
        [items]
    """

    days: FloatArray
    pieces: FloatArray

    def __repr__(self) -> str:
        return f"Coming({self.pieces.sum():g} pieces on {len(self.days)} days)"

    def within(self, days: float) -> float:
        """Pieces that come within so many days [items]."""
        return float(self.pieces[self.days <= days].sum())


NOTHING_COMING = Coming(days=np.zeros(0), pieces=np.zeros(0))


def list_coming(orders: FloatArray) -> Coming:
    """Sum up orders (rows of quantity, days from today); one without a day is never counted on."""
    if not len(orders):
        return NOTHING_COMING
    quantity, day = orders[np.isfinite(orders[:, 1])].T
    days, arrival = np.unique(np.maximum(day, 0.0), return_inverse=True)
    return Coming(days=days, pieces=np.bincount(arrival, quantity).astype(np.float64))


def count_early(needs: Needs, lead: FloatArray, days: Sequence[FloatArray]) -> list[Counts]:
    """Unplanned demand before each arrival, within the lead time, (arrivals, futures) per item.

    Parameters
    ----------
    needs : Needs
        Sorted by key; keys from 0.
    lead : float array (items, futures)
        Lead times [days].
    days : sequence of float arrays (arrivals,)
        When pieces of each item come [days from today].
    """
    futures, many = lead.shape[1], np.array([len(one) for one in days], np.intp)
    if not many.any():
        return [np.zeros((0, futures), np.int32)] * len(days)
    ends = np.cumsum(many)[:-1]
    item, day = np.repeat(np.arange(len(days)), many), np.concatenate([*days, np.zeros(0)])
    begins = np.searchsorted(needs.key, np.arange(len(days) + 1))
    first, size = begins[item], begins[item + 1] - begins[item]
    arrival = np.repeat(np.arange(len(item)), size)
    row = np.arange(len(arrival)) + np.repeat(first - (np.cumsum(size) - size), size)
    future, asked = needs.replicate[row], needs.day[row]
    early = ~needs.planned[row] & (asked < day[arrival]) & (asked <= lead[item[arrival], future])
    cell = arrival[early] * futures + future[early]
    counts = np.bincount(cell, minlength=len(item) * futures).reshape(len(item), futures)
    return np.split(counts.astype(np.int32), ends)


def run_short(
    asked: tuple[Counts, Counts, FloatArray], jobs: FloatArray, on_hand: float, coming: Coming
) -> NDArray[np.bool_]:
    """Futures in which something finds no piece at some time until a lead time from now.

    Pieces come on their days, so that the shelf is lowest just before one of them, or at the end.

    Parameters
    ----------
    asked : tuple of arrays
        Unplanned demand over the lead time (futures,) and before each arrival (arrivals, futures)
        [items]; lead times (futures,) [days].
    jobs : float array (jobs,)
        Days from today to planned jobs that take one each [days].
    on_hand : float
        [items]
    coming : Coming
    """
    over, early, lead = asked
    taken = jobs[:, None]
    if len(jobs):
        over = over + np.count_nonzero(taken <= lead, axis=0)
    if not len(coming.days):
        return np.asarray(over > on_hand)
    there = on_hand + coming.pieces @ (coming.days[:, None] <= lead)
    before = early + np.array(
        [((taken < day) & (taken <= lead)).sum(axis=0) for day in coming.days]
    )
    lying = on_hand + np.cumsum(coming.pieces) - coming.pieces
    return np.asarray((over > there) | (before > lying[:, None]).any(axis=0))
