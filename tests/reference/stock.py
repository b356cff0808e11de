"""Published examples of stock levels, recomputed."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import integrate, stats

from pumplife.stock.level import (
    cost_of_level,
    gamma_loss,
    newsvendor_level,
    normal_loss,
    normal_newsvendor,
    pmf_loss,
    poisson_loss,
    poisson_pmf,
)
from pumplife.stock.order_up_to import best_up_to_rule
from pumplife.stock.reorder_rule import best_reorder_rule


def _losses(inputs: Any) -> dict[str, float]:
    several = stats.nbinom.pmf(np.arange(2000), inputs["negbin"]["r"], inputs["negbin"]["p"])
    normal, gamma, poisson = inputs["normal"], inputs["gamma"], inputs["poisson"]
    other = inputs["negbin2"]
    tried = other["mean"] ** 2 / (other["sd"] ** 2 - other["mean"])
    wide = stats.nbinom.pmf(np.arange(2000), tried, tried / (tried + other["mean"]))
    above = np.arange(poisson["x"] + 1, poisson["x"] + 200)
    z = inputs["std_normal"]
    return {
        "Lbar_1_3": z + float(normal_loss(z)),
        "L2_1_3": float(integrate.quad(lambda x: float(normal_loss(x)), z, 12.0)[0]),
        "normal_nbar": normal["x"]
        - normal["mu"]
        + float(normal_loss(normal["x"], normal["mu"], normal["sd"])),
        "poisson_18_15_nbar": poisson["x"]
        - poisson["mean"]
        + float(poisson_loss(poisson["x"], poisson["mean"])),
        "poisson_second": float(poisson_loss(above, poisson["mean"]).sum()),
        "negbin_mean23_sd8_n": float(pmf_loss(other["x"], wide)),
        "L_1_3": float(normal_loss(z)),
        "normal_n": float(normal_loss(normal["x"], normal["mu"], normal["sd"])),
        "poisson_18_15_n": float(poisson_loss(inputs["poisson"]["x"], inputs["poisson"]["mean"])),
        "gamma_n": float(gamma_loss(gamma["x"], gamma["shape"], gamma["scale"])),
        "negbin_4_02_n": float(pmf_loss(inputs["negbin"]["x"], several)),
    }


def _normal_table(inputs: Any) -> dict[str, float]:
    return {f"L({z})": float(normal_loss(z)) for z in inputs["z"]}


def _newsvendor(inputs: Any) -> dict[str, float]:
    level, cost = normal_newsvendor(
        inputs["mean"], inputs["sd"], holding=inputs["h"], shortage=inputs["p"]
    )
    return {"S": float(level), "cost": float(cost)}


def _poisson_newsvendor(inputs: Any) -> dict[str, float]:
    found = {}
    names = {"ex4_1p": "ex4.1p", "ex4_7": "ex4.7", "prob4_8a": "prob4.8a"}
    for key, name in names.items():
        one = inputs[key]
        price = {"holding": one["h"], "shortage": one["p"]}
        pmf = poisson_pmf(one["mean"])
        level = newsvendor_level(pmf, **price)
        found[f"{name}_S"] = level
        found[f"{name}_cost"] = float(cost_of_level(level, pmf, **price))
    return found


def _reorder_rules(inputs: Any) -> dict[str, float]:
    found = {}
    for key, one in inputs.items():
        rule = best_reorder_rule(
            poisson_pmf(one["rate"] * one["lead_time"]),
            rate=one["rate"],
            holding=one["h"],
            shortage=one["p"],
            order=one["K"],
        )
        found |= {
            f"{key}_r": rule.reorder_point,
            f"{key}_Q": rule.quantity,
            f"{key}_cost": rule.cost,
        }
    return found


def _up_to_rules(inputs: Any) -> dict[str, float]:
    found = {}
    for mean in inputs["mu"]:
        rule = best_up_to_rule(
            poisson_pmf(mean), holding=inputs["h"], shortage=inputs["p"], order=inputs["K"]
        )
        name = f"mu={mean}:cost(s={rule.reorder_point},S={rule.order_up_to})"
        found[name] = rule.cost
    return found


REPRODUCED = {
    "S01": _losses,
    "S02": _normal_table,
    "S03": _newsvendor,
    "S04": _poisson_newsvendor,
    "S05": _reorder_rules,
    "S07": _up_to_rules,
}
