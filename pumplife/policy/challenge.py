"""An interval that somebody would rather have, held against the advice."""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd

from pumplife.errors import RecordError
from pumplife.policy.advice import Advice
from pumplife.policy.chance import say_chance
from pumplife.policy.changed_input import find_changes, is_same
from pumplife.policy.costs import CostRates, cost_rates
from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.practice import EventRates, rates_of
from pumplife.policy.pump import FloatArray, integrate_to
from pumplife.records.read import Records


class Studied(Protocol):
    """What a challenge needs of a study."""

    @property
    def records(self) -> Records:
        """The plant's records."""

    @property
    def advice(self) -> Advice | None:
        """The advice, None where it is withheld."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Challenge:
    """A challenged interval beside the advice, for one pump group.

    Attributes
    ----------
    title : str
        The group in words.
    interval, advised : float
        The interval asked about, and the advice [usage]; inf is run to failure.
    usage_unit, currency : str
        The plant's own, as in plant.toml.
    cost, cost_advised : float
        Expected cost a year of the group's pumps [money / year].
    dearer, dearer_low, dearer_high : float
        What the challenged interval costs more, and its 90 % band [money / year].
    prob_better : float
        Probability that the challenged interval is the cheaper one.
    failures, failures_advised : float
        Expected failures a year of the group's pumps [1 / year].
    releases, releases_advised : float
        Expected failures a year that release fluid [1 / year].
    broken_limits : tuple of str
        Limits that the challenged interval breaks, with their figures.
    changes : dict of str to float
        Factor by which one input alone would have to change to make the challenged interval the
        advice, nearest to 1 first; empty where none from 0.1 to 10 does.
    same : bool
        Whether it is within 1 % of the advice.
    """

    title: str
    interval: float
    advised: float
    usage_unit: str
    currency: str
    cost: float
    cost_advised: float
    dearer: float
    dearer_low: float
    dearer_high: float
    prob_better: float
    failures: float
    failures_advised: float
    releases: float
    releases_advised: float
    broken_limits: tuple[str, ...]
    changes: dict[str, float]
    same: bool

    def __repr__(self) -> str:
        """Say the two intervals and the difference."""
        return (
            f"<Challenge: {self.interval:.6g} against {self.advised:.6g}, "
            f"{self.dearer:+,.0f} a year, {self.prob_better:.0%} likely better>"
        )

    def _repr_html_(self) -> str:
        """The words as a list."""
        items = "".join(f"<li>{html.escape(line)}</li>" for line in self.say())
        return f"<b>{html.escape(self.title)}</b><ul>{items}</ul>"

    def to_frame(self) -> pd.DataFrame:
        """One row per way of working: interval, cost, failures and releases a year."""
        return pd.DataFrame(
            {
                "way": ["challenged", "advised"],
                "interval": [_blank(self.interval), _blank(self.advised)],
                "cost_per_year": [self.cost, self.cost_advised],
                "failures_per_year": [self.failures, self.failures_advised],
                "releases_per_year": [self.releases, self.releases_advised],
            }
        )

    def say(self) -> tuple[str, ...]:
        """The result in plain words, a sentence or two each."""
        return (self._say_cost(), self._say_failures(), self._say_limits(), self._say_change())

    def _say_cost(self) -> str:
        way = "more" if self.dearer >= 0.0 else "less"
        advised = _interval(self.advised, self.usage_unit)
        return (
            f"{_interval(self.interval, self.usage_unit)} costs {abs(self.dearer):,.0f} "
            f"{self.currency} a year {way} than the advice ({advised[0].lower()}{advised[1:]}): "
            f"{self.cost:,.0f} against {self.cost_advised:,.0f}; 90 % band of the difference "
            f"{self.dearer_low:+,.0f} to {self.dearer_high:+,.0f}. It is the cheaper one with a "
            f"chance of {say_chance(self.prob_better)}."
        )

    def _say_failures(self) -> str:
        return (
            f"Failures a year: {self.failures:.2g} against {self.failures_advised:.2g}; of these "
            f"release fluid: {self.releases:.2g} against {self.releases_advised:.2g}."
        )

    def _say_limits(self) -> str:
        if not self.broken_limits:
            return "It breaks no limit."
        return f"It breaks: {'; '.join(self.broken_limits)}."

    def _say_change(self) -> str:
        if self.same:
            return "It is the advice: nothing needs to change to make it right."
        if not self.changes:
            return "No single change of an input between ×0.1 and ×10 makes it right."
        told = [_say_factor(name, factor) for name, factor in self.changes.items()]
        rest = f" Others, each alone: {', '.join(told[1:])}." if told[1:] else ""
        return f"The nearest single change that would make it right: {told[0]}.{rest}"


def _say_factor(name: str, factor: float) -> str:
    """An input and what it is multiplied by."""
    if abs(factor - 1.0) < 0.005:
        return f"{name} by less than 1 %"
    return f"{name} ×{factor:.2f}"


def challenge(study: Studied, group: int | str, interval: float) -> Challenge:
    """Hold an interval that somebody would rather have against the advice.

    Parameters
    ----------
    study : Study
        A finished study with advice.
    group : int or str
        Row of the table `intervals`, from 0; or words that only one group's title holds.
    interval : float
        [usage]; inf is run to failure.

    Returns
    -------
    Challenge

    Raises
    ------
    RecordError
        Where there is no advice for that group, the words fit none or several, or the interval
        is not above 0.
    """
    if not interval > 0.0:
        raise RecordError(
            f"An interval of {interval:g} can't be weighed: give one above 0, or inf for run to "
            "failure."
        )
    advice = study.advice
    if advice is None:
        raise RecordError("The study gives no intervals: its audit says what is missing.")
    row = find_group(advice, group)
    chosen, decision = advice.groups[row], advice.decisions[row]
    if decision is None:
        raise RecordError(f"{chosen.title}: no interval is advised. {chosen.missing}")
    plant = study.records.plant
    changes = (
        {}
        if is_same(interval, decision.interval)
        else find_changes(
            chosen,
            decision.advice,
            interval,
            release_target=plant.hazardous_failure_probability,
        )
    )
    return _compare(chosen, decision, interval, changes, (plant.usage_unit, plant.currency))


def find_group(advice: Advice, group: int | str) -> int:
    """Row of a group by its number, from 0, or by words of its title."""
    titles = [one.title for one in advice.groups]
    if isinstance(group, int) or group.strip().isdigit():
        number = int(group)
        if not 0 <= number < len(titles):
            raise RecordError(
                f"There is no group {number}: the table intervals has rows 0 to {len(titles) - 1}."
            )
        return number
    words = group.casefold().split()
    found = [row for row, title in enumerate(titles) if all(w in title.casefold() for w in words)]
    if len(found) == 1:
        return found[0]
    told = "\n".join(f"  {row}: {titles[row]}" for row in (found or range(len(titles))))
    what = f"{len(found)} groups fit" if found else "No group fits"
    raise RecordError(f"{what} {group!r}: name one of these by its number:\n{told}")


def _compare(
    group: SideGroup,
    decision: Decision,
    interval: float,
    changes: dict[str, float],
    units: tuple[str, str],
) -> Challenge:
    usage = float(group.usage_per_year.sum())
    events, costs = _under(group, decision, interval)
    more = usage * (costs.money - decision.advised.money)
    low, high = np.quantile(more, [0.05, 0.95])
    return Challenge(
        title=group.title,
        interval=interval,
        advised=decision.interval,
        usage_unit=units[0],
        currency=units[1],
        cost=usage * float(costs.money.mean()),
        cost_advised=usage * float(decision.advised.money.mean()),
        dearer=float(more.mean()),
        dearer_low=float(low),
        dearer_high=float(high),
        prob_better=float(np.mean(more < 0.0)),
        failures=usage * _mean(events.failures),
        failures_advised=usage * _mean(decision.events.failures),
        releases=usage * _mean(events.failures[group.releases]),
        releases_advised=usage * _mean(decision.events.failures[group.releases]),
        broken_limits=_broken(decision, interval, units[0]),
        changes=changes,
        same=is_same(interval, decision.interval),
    )


def _under(group: SideGroup, decision: Decision, interval: float) -> tuple[EventRates, CostRates]:
    """Events and costs of a planned interval, the whole side renewed at failures."""
    at = integrate_to(group.life, decision.advice.known, np.array([interval]))
    events = rates_of(at)
    return events, cost_rates(decision.costs, events)


def _broken(decision: Decision, interval: float, unit: str) -> tuple[str, ...]:
    limits = decision.advice.limits.items()
    return tuple(
        f"{name} of {limit:,.0f} {unit}" if limit > 0.0 else f"{name}, which no interval keeps"
        for name, limit in limits
        if interval > limit * (1.0 + 1e-9)
    )


def _mean(failures: FloatArray) -> float:
    """Failures of all parts, averaged over the draws."""
    return float(failures.sum(axis=0).mean())


def _interval(interval: float, unit: str) -> str:
    if np.isinf(interval):
        return "Run to failure"
    return f"Every {interval:,.0f} {unit}"


def _blank(interval: float) -> float:
    return interval if np.isfinite(interval) else np.nan
