"""Long-run events of a pump side under a way of working, counted from simulated lanes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.simulate_way import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WayTally:
    """Events of independent lanes of each draw, and the usage in which they came.

    Attributes
    ----------
    kit_failures : float array (positions, draws, lanes)
        Failures of the position at which the whole side was renewed.
    part_failures : float array (positions, draws, lanes)
        Failures of the position at which less than the whole side was renewed.
    also : float array (positions, draws, lanes)
        Renewals of the position at openings not for the whole side where it had not failed:
        older than the limit, or found worn.
    planned : float array (draws, lanes)
        Planned renewals of the whole side, by age or block.
    inspections : float array (draws, lanes)
    usage : float array (draws, lanes)
        [usage]
    """

    kit_failures: FloatArray
    part_failures: FloatArray
    also: FloatArray
    planned: FloatArray
    inspections: FloatArray
    usage: FloatArray

    def __repr__(self) -> str:
        """Count the lanes and the failures."""
        draws, lanes = self.usage.shape
        return f"<WayTally: {draws} draws x {lanes} lanes, {self.failures.sum():.0f} failures>"

    @property
    def failures(self) -> FloatArray:
        """Failures by position, (positions, draws, lanes)."""
        return self.kit_failures + self.part_failures

    @property
    def kits(self) -> FloatArray:
        """Renewals of the whole side, (draws, lanes)."""
        return np.asarray(self.planned + self.kit_failures.sum(axis=0))

    @property
    def renewals(self) -> FloatArray:
        """Renewals by position, with kits and alone, (positions, draws, lanes)."""
        return np.asarray(self.kits + self.part_failures + self.also)

    @property
    def openings(self) -> FloatArray:
        """Times that the side was opened: planned, breakdown, inspection, (draws, lanes)."""
        return np.asarray(self.planned + self.failures.sum(axis=0) + self.inspections)

    def per_usage(self, count: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Long-run rate of any count or cost of the lanes, and its standard error.

        Parameters
        ----------
        count : float array (..., draws, lanes)
            Any field of this tally, or a cost summed from them.

        Returns
        -------
        rate, error : float array (..., draws)
            Per usage unit: sum over the lanes by sum of their usage, and the standard error of
            that ratio through simulation.

        References
        ----------
        Ratio estimator of renewal reward: Law, Simulation Modeling and Analysis (2015), chapter
        9 (from memory).
        """
        lanes = self.usage.shape[-1]
        total = self.usage.sum(axis=-1)
        rate = np.asarray(count).sum(axis=-1) / total
        spread = np.asarray(count) - rate[..., None] * self.usage
        error = np.sqrt((spread**2).sum(axis=-1) * lanes / max(lanes - 1, 1)) / total
        return np.asarray(rate), np.asarray(error)
