"""Fluid and air side at one opening: the air kit at every q-th rebuild of the fluid side.

The air side is renewed at its own failures and, whatever its age, when the fluid side is rebuilt
for the q-th time since it last was so: block replacement with the length of q fluid cycles, each
the planned fluid age or the fluid side's life, whichever is shorter.  Fluid and air fail
independently, so the expected failures in a block are the mean of the renewal function over the
length, whose chances are a q-fold convolution.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import fft

from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.practice import EventRates
from pumplife.policy.pump import FloatArray, SideLife
from pumplife.policy.ways.counts import FailureCounts

MOST = 4  # the air kit at every fluid rebuild up to every fourth
STEPS = 32  # grid steps of one fluid cycle


def cycle_chances(side: SideLife, interval: float, longest: FloatArray) -> tuple[FloatArray, ...]:
    """Chances of the usage from one rebuild of a side to the next, on an even grid by draw.

    Parameters
    ----------
    side : SideLife
    interval : float
        Planned age [usage]; inf means none.
    longest : float array (draws,)
        Usage that hardly any life exceeds, where nothing is planned [usage].

    Returns
    -------
    step : float array (draws,)
        [usage]
    chance : float array (STEPS + 1, draws)
        Of 0, one step, two ... summing to 1.
    """
    reach = np.minimum(interval, longest)
    step = reach / STEPS
    middle = (np.arange(STEPS)[:, None] + 0.5) * step
    left = np.concatenate(
        [np.ones((1, step.size)), side.survival(middle), np.zeros((1, step.size))]
    )
    return step, -np.diff(left, axis=0)


def block_chances(chance: FloatArray, times: int) -> FloatArray:
    """Chances of the sum of some independent cycles, (times * STEPS + 1, draws)."""
    cells = times * (chance.shape[0] - 1) + 1
    size = fft.next_fast_len(cells, real=True)
    summed = fft.irfft(fft.rfft(chance, size, axis=0) ** times, size, axis=0)[:cells]
    return np.asarray(np.maximum(summed, 0.0))


def air_events(air: FailureCounts, step: FloatArray, blocks: list[FloatArray]) -> list[EventRates]:
    """Event rates of the air side for each distribution of the usage between shared openings.

    `planned` counts the shared openings.

    Parameters
    ----------
    air : FailureCounts
        Of the air side, renewed whole at failures.
    step : float array (draws,)
        Grid step [usage].
    blocks : list of float array (grid, draws)
        Chances of 0, one step, two ...; the longest grid last.
    """
    number = np.arange(1, blocks[-1].shape[0])[:, None]
    counted = air.at(number * step)
    rates = []
    for chance in blocks:
        cells = chance.shape[0] - 1
        length = (chance[1:] * number[:cells] * step).sum(axis=0)
        failures = np.einsum("td,tpd->pd", chance[1:], counted[:cells]) / length
        rates.append(
            EventRates(
                kit_failures=failures, part_failures=np.zeros_like(failures), planned=1.0 / length
            )
        )
    return rates


def shared_costs(fluid: SideCosts, air: SideCosts, hours: dict[str, float]) -> SideCosts:
    """Costs of the air side where its planned kit comes while the fluid side is rebuilt.

    Parameters
    ----------
    fluid, air : SideCosts
    hours : dict of str to float
        planned_labour_h and planned_downtime_h of both sides at one opening [h]; NaN where not
        given: the labour of both, the downtime of the longer.
    """
    labour = hours["planned_labour_h"] - fluid.planned.labour_h
    labour = np.where(np.isfinite(labour), np.maximum(labour, 0.0), air.planned.labour_h)
    given = hours["planned_downtime_h"]
    both = np.where(np.isfinite(given), given, air.planned.downtime_h)
    downtime = np.maximum(both - fluid.planned.downtime_h, 0.0)
    work = WorkCost(cash=air.planned.cash, labour_h=labour, downtime_h=downtime)
    return replace(air, planned=work)
