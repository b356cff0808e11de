"""Published examples of repeated events, recomputed."""

from __future__ import annotations

from typing import Any

import numpy as np

from pumplife.lives.trend import laplace_trend, mean_cumulative_function, power_law_trend


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
    return {
        "laplace": float(laplace_trend(system, events, end).statistic),
        "mil_hdbk_189": power.statistic,
        "mil_p": power.p_value / 2.0,
    }


def _ten_repairs(inputs: Any) -> dict[str, float]:
    got = power_law_trend(np.zeros(10, dtype=int), inputs["repairs"], [inputs["T"]])
    return {"mil_hdbk": got.statistic}


REPRODUCED = {
    "M01": _valve_seats,
    "M03": _braking_grids,
    "T01": _submarine_engine,
    "T04": _ten_repairs,
}
