"""Survival of each material of one part, with how many parts were at risk."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pumplife.weibull.survival import estimate_survival

STEPS = 60  # ages between the steps at which counts at risk are told


def survival_curves(facts: pd.DataFrame, service: str, part: str) -> pd.DataFrame:
    """Estimate survival without a form of life, material by material.

    Parameters
    ----------
    facts : DataFrame
        From `gather_facts`.
    service, part : str

    Returns
    -------
    DataFrame
        kind, time [usage], survival with low and high (90 %), at_risk (parts watched just after
        that age, those that enter late counted from then on); the most used material first.

    References
    ----------
    Kaplan and Meier's estimate with late entry by lifelines; with intervals Turnbull's.
    """
    lives = facts[(facts["service"] == service) & (facts["part"] == part)]
    used = lives.groupby("kind", sort=True)["usage"].sum().sort_values(ascending=False)
    frames = [_curve(lives[lives["kind"] == kind], str(kind)) for kind in used.index[used > 0.0]]
    columns = ["kind", "time", "survival", "low", "high", "at_risk"]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=columns)


def _curve(lives: pd.DataFrame, kind: str) -> pd.DataFrame:
    lower, upper, weight = (lives[name].to_numpy(float) for name in ("lower", "upper", "weight"))
    end = np.where(np.isfinite(upper), upper, lower)
    entry = end - lives["usage"].to_numpy(float) / weight  # as watched: early lives are in
    entry = np.clip(np.where(entry < 1e-9 * end, 0.0, entry), 0.0, lower)
    steps = estimate_survival(lower, upper, entry, weight)
    time = np.unique(np.concatenate([[0.0], steps.time, np.linspace(0.0, end.max(), STEPS)]))
    row = np.searchsorted(steps.time, time, side="right")
    entered = _weight_upto(entry, weight, time)
    return pd.DataFrame(
        {
            "kind": kind,
            "time": time,
            "survival": np.concatenate([[1.0], steps.survival])[row],
            "low": np.concatenate([[1.0], steps.low])[row],
            "high": np.concatenate([[1.0], steps.high])[row],
            "at_risk": entered - _weight_upto(end, weight, time),
        }
    )


def _weight_upto(age: np.ndarray, weight: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Weight of the lives whose age is at or before each time."""
    order = np.argsort(age, kind="stable")
    total = np.concatenate([[0.0], np.cumsum(weight[order])])
    return np.asarray(total[np.searchsorted(age[order], time, side="right")])
