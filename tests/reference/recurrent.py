"""Published examples of repeated events, recomputed."""

from __future__ import annotations

from typing import Any

import numpy as np

from pumplife.lives.process import fit_power_law
from pumplife.lives.trend import (
    laplace_trend,
    lewis_robinson_trend,
    mean_cumulative_function,
    power_law_trend,
)


def histories(inputs: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return system and age of the events, and the end of each system."""
    units = list(inputs.values())
    system = np.repeat(np.arange(len(units)), [len(unit["replacements"]) for unit in units])
    time = np.concatenate([unit["replacements"] for unit in units])
    return system, time, np.array([unit["end"] for unit in units])


def _cumulative(inputs: Any, measures: tuple[str, ...]) -> dict[str, float]:
    got = mean_cumulative_function(*histories(inputs), confidence=0.95)
    columns = {
        "at_risk": got.at_risk,
        "MCF": got.mcf,
        "se": np.sqrt(got.variance),
        "lo": got.low,
        "hi": got.high,
    }
    return {
        f"t{age:g}_{measure}": columns[measure][place]
        for place, age in enumerate(got.time)
        for measure in measures
    }


def _valve_seats(inputs: Any) -> dict[str, float]:
    return _cumulative(inputs, ("at_risk", "MCF", "se"))


def _braking_grids(inputs: Any) -> dict[str, float]:
    return _cumulative(inputs, ("MCF", "se", "lo", "hi"))


def _submarine_engine(inputs: Any) -> dict[str, float]:
    events = np.array(inputs["events_by_system"][0])
    system, end = np.zeros(len(events), dtype=int), inputs["end_of_observation"]
    power = power_law_trend(system, events, end)
    lewis = lewis_robinson_trend(system, events, end)
    return {
        "laplace": float(laplace_trend(system, events, end).statistic),
        "lewis_robinson": lewis.statistic,
        "lr_p": lewis.p_value,
        "mil_hdbk_189": power.statistic,
        "mil_p": power.p_value / 2.0,
    }


def _ten_repairs(inputs: Any) -> dict[str, float]:
    system, end = np.zeros(10, dtype=int), inputs["T"]
    growth = fit_power_law(system, inputs["repairs"], [end]).value[0] * 9 / 10  # freed of its bias
    return {
        "mil_hdbk": power_law_trend(system, inputs["repairs"], [end]).statistic,
        "beta_growth": 1.0 - growth,
        "b": growth,
        "a": 10.0 / end**growth,
        "MTBF_end": end / (10.0 * growth),
    }


def _power_law(inputs: Any) -> dict[str, float]:
    events = inputs["events_by_system"]
    system = np.repeat(np.arange(len(events)), [len(row) for row in events])
    fit = fit_power_law(system, np.concatenate(events), inputs["end_of_observation"])
    (shape, scale), (shape_error, scale_error) = fit.value, fit.error
    reach = 1.959964 * shape_error
    return {
        "beta": shape,
        "se_beta": shape_error,
        "eta": scale,
        "se_eta": scale_error,
        "loglik": fit.log_likelihood,
        "beta_lo": shape - reach,
        "beta_hi": shape + reach,
    }


def _forty_failures(inputs: Any) -> dict[str, float]:
    times = inputs["times"]
    shape, scale = fit_power_law(np.zeros(40, dtype=int), times, [times[-1]]).value
    return {"beta": shape, "lam": scale**-shape, "MTBF": times[-1] / (40 * shape)}


def _thirty_gaps(inputs: Any) -> dict[str, float]:
    """Watched until the last failure, which then says nothing of a trend itself."""
    times = np.cumsum(inputs["times_between_failures"])
    laplace = laplace_trend(np.zeros(29, dtype=int), times[:-1], [times[-1]])
    shape, scale = fit_power_law(np.zeros(30, dtype=int), times, [times[-1]]).value
    return {"laplace_U": float(laplace.statistic), "beta": shape, "lam": scale**-shape}


REPRODUCED = {
    "M01": _valve_seats,
    "M03": _braking_grids,
    "N01": _power_law,
    "N02": _power_law,
    "N04": _power_law,
    "N05": _power_law,
    "N08": _forty_failures,
    "T01": _submarine_engine,
    "T03": _thirty_gaps,
    "T04": _ten_repairs,
}
