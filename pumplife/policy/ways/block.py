"""Whole renewals that usage or the calendar sets, whatever happened since: block replacement.

Between two planned renewals a failure renews the whole side or the failed part alone; the planned
renewal comes all the same.  Cost per block over its length is exact by the renewal function
(Barlow & Proschan, Mathematical Theory of Reliability, 1965, chapter 4), here for parts in series.
"""

from __future__ import annotations

import numpy as np

from pumplife.policy.costs import SideCosts
from pumplife.policy.practice import EventRates
from pumplife.policy.pump import FloatArray
from pumplife.policy.ways.counts import FailureCounts

LADDER = 40  # blocks tried before the best one is looked for between its neighbours
CLASSES = 8  # usage classes that stand for the pumps of a group


def block_events(counts: FailureCounts, usage: FloatArray) -> list[EventRates]:
    """Event rates of blocks of each usage.

    Parameters
    ----------
    counts : FailureCounts
    usage : float array (blocks,) or (blocks, draws)
        Usage between two planned renewals [usage]; inf: none is planned.

    Returns
    -------
    list of EventRates
        One per block.
    """
    usage = np.asarray(usage, float)
    usage = usage[:, None] if usage.ndim == 1 else usage
    ending = np.isfinite(usage)
    reach = np.where(ending, usage, 1e9 * np.max(counts.mean))
    failures = counts.at(reach) / reach[:, None, :]
    none = np.zeros_like(failures[0])
    planned = np.broadcast_to(np.where(ending, 1.0 / reach, 0.0), failures[:, 0].shape)
    return [
        EventRates(
            kit_failures=failed if counts.whole else none,
            part_failures=none if counts.whole else failed,
            planned=each,
        )
        for failed, each in zip(failures, planned, strict=True)
    ]


def block_money(counts: FailureCounts, costs: SideCosts, usage: FloatArray) -> FloatArray:
    """Mean cost rate of blocks of each usage, (blocks,) [money / usage unit]."""
    usage = np.asarray(usage, float)
    per_failure = costs.failure_money if counts.whole else costs.part_money
    failures = counts.at(usage[:, None]).mean(axis=2)
    return np.asarray((costs.planned_money + failures @ per_failure) / usage)


def best_block(counts: FailureCounts, costs: SideCosts, longest: float = np.inf) -> float:
    """Usage between planned renewals of least mean cost, within a limit [usage]."""
    mean = float(np.mean(counts.mean if counts.whole else counts.mean.min(axis=0)))
    top = min(5.0 * mean, longest)
    low, high = min(0.02 * mean, 0.5 * top), top
    for points in (LADDER, 16, 16):
        ladder = np.geomspace(low, high, points)
        row = int(np.argmin(block_money(counts, costs, ladder)))
        low, high = ladder[max(row - 1, 0)], ladder[min(row + 1, points - 1)]
    return float(ladder[row])


def usage_classes(rate: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Daily usages that stand for the pumps of a group, and how many pumps each stands for.

    Neighbours are brought together by their mean, so that the group's usage stays what it is.
    """
    ordered = np.sort(np.asarray(rate, float)[np.asarray(rate) > 0.0])
    parts = np.array_split(ordered, min(CLASSES, ordered.size))
    return np.array([part.mean() for part in parts]), np.array([float(len(p)) for p in parts])


def calendar_events(
    counts: FailureCounts, rate: FloatArray, number: FloatArray, days: FloatArray
) -> list[EventRates]:
    """Event rates of some pumps on one calendar: kits after each of the `days`, in turn.

    Parameters
    ----------
    counts : FailureCounts
    rate, number : float array (classes,)
        Daily usage of each class of pumps [usage / day], and pumps in it.
    days : float array (calendars, gaps)
        Days between kits; the gaps of one calendar follow each other over and over [day].

    Returns
    -------
    list of EventRates
        One per calendar, per usage unit of all pumps together.
    """
    days = np.asarray(days, float)
    usage = days[:, :, None] * rate
    failures = counts.at(usage.reshape(-1, 1))
    failures = failures.reshape(*usage.shape, *failures.shape[1:])
    span = days.sum(axis=1) * np.dot(rate, number)
    failed = np.einsum("cgkpd,k->cpd", failures, number) / span[:, None, None]
    planned = days.shape[1] * number.sum() / span
    none = np.zeros_like(failed[0])
    return [
        EventRates(
            kit_failures=each if counts.whole else none,
            part_failures=none if counts.whole else each,
            planned=np.full(each.shape[-1], kits),
        )
        for each, kits in zip(failed, planned, strict=True)
    ]
