"""Published examples of renewal and replacement, recomputed."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import optimize

from pumplife.policy.ages import own_times
from pumplife.policy.interval import cost_rate, optimal_interval
from pumplife.policy.pump import SideLife, integrate_side, integrate_to
from pumplife.policy.renewal import block_cost_rate, minimal_repair_interval, renewal_function
from pumplife.policy.ways.inspection import Look, look_rates
from pumplife.weibull import LifeDraws


def side(shape: float) -> SideLife:
    """Return a side of one part with scale 1."""
    one = np.ones((1, 1))
    lives = LifeDraws(early_share=0.0 * one, early_scale=one, shape=shape * one, scale=one)
    return SideLife(lives=lives, count=np.ones(1))


class Uniform:
    """A life uniform on (0, end): no Weibull, through the same code."""

    def __init__(self, end: float) -> None:
        self.end = end

    def survival(self, t: np.ndarray) -> np.ndarray:
        """Return the chance to outlive each age."""
        return np.clip(1.0 - t / self.end, 0.0, 1.0) * np.ones((1, 1))

    def hazard(self, t: np.ndarray) -> np.ndarray:
        """Return the hazard at each age."""
        with np.errstate(divide="ignore"):
            return np.where(t < self.end, 1.0 / (self.end - t), np.inf) * np.ones((1, 1))


def _uniform_life(inputs: Any) -> dict[str, float]:
    one = SideLife(lives=Uniform(40_000.0), count=np.ones(1))
    known = integrate_side(one, own_times(one), nodes=6)
    prices = float(inputs["Cp"]), np.array([float(inputs["Cf"])])
    return {
        f"C_{age}": float(
            cost_rate(integrate_to(one, known, np.array([float(age)])), *prices)[0, 0]
        )
        for age in (10_000, 20_000, 30_000, 40_000)
    }


def _renewals(inputs: Any) -> dict[str, float]:
    shape, scale = inputs["shape"], inputs["scale"]
    renewals = renewal_function(lambda t: -np.expm1(-((t / scale) ** shape)), np.array(inputs["t"]))
    return {f"M({t})": value for t, value in zip(inputs["t"], renewals, strict=True)}


def _block_rate(age: float, planned: float) -> float:
    t = np.array([age])
    renewals = renewal_function(lambda x: -np.expm1(-x) - x * np.exp(-x), t, steps=4096)
    return float(block_cost_rate(renewals, t, planned, 1.0)[0])


def _blocks(inputs: Any) -> dict[str, float]:
    found = {}
    for planned in inputs["c1_over_c2"]:
        best = optimize.minimize_scalar(
            _block_rate, bounds=(0.05, 4.0), args=(planned,), method="bounded",
            options={"xatol": 1e-9},
        )  # fmt: skip
        found[f"T*(c1/c2={planned})"] = float(best.x)
    return found


def _minimal_repair(inputs: Any) -> dict[str, float]:
    return {
        f"case{place}": minimal_repair_interval(one["beta"], one["eta"], one["cp"], one["cr"])
        for place, one in enumerate(inputs, start=1)
    }


def _age_replacement(inputs: Any) -> dict[str, float]:
    found = {}
    for name in inputs:
        shape, ratio = (float(word.split("=")[1]) for word in name.split(","))
        interval, rate = optimal_interval(side(shape), 1.0, np.array([ratio]))
        found[f"b{shape:g}_r{ratio:g}_T"] = float(interval[0])
        found[f"b{shape:g}_r{ratio:g}_C"] = float(rate[0])
    return found


def _delay_time(inputs: Any) -> dict[str, float]:
    """Every life is all delay, so that the model's assumptions hold exactly."""
    one = SideLife(lives=side(1.0).lives, count=np.ones(1))
    look = Look(delay_share=np.ones(1), detection=1.0, labour_h=0.0)

    def unseen(every: float) -> float:
        failures, found = look_rates(one, look, np.array([inputs["alpha"] * every]))
        return float((failures / (failures + found)).item())

    def downtime(every: float) -> float:
        lost = inputs["lam"] * every * unseen(every) * inputs["d_b"] + inputs["d_i"]
        return lost / (every + inputs["d_i"])

    best = optimize.minimize_scalar(downtime, bounds=(1.0, 40.0), method="bounded")
    return {"b(20)": unseen(inputs["T"]), "T_opt": float(best.x)}


REPRODUCED = {
    "D01": _delay_time,
    "P01": _renewals,
    "P03": _uniform_life,
    "P06": _blocks,
    "P08": _minimal_repair,
    "P09": _age_replacement,
}
