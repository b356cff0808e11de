"""Published Weibull fits, recomputed."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import special

from pumplife.weibull import WeibullFit, estimate_survival, fit_weibull, scale_lower_bound

BY_1_96 = float(2 * special.ndtr(1.96) - 1)  # the confidence of bounds at 1.96 standard errors


def arrange(failures: list[float], suspensions: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Return lower and upper of exact failures and suspensions."""
    lower = np.array([*failures, *suspensions], dtype=float)
    return lower, np.concatenate([failures, np.full(len(suspensions), np.inf)])


def quantile_bounds(fit: WeibullFit, share: float) -> dict[str, float]:
    """Return a quantile t, its error se and 95 % log-normal bounds from the fit's covariance."""
    log_hazard = np.log(-np.log1p(-share))
    time = fit.scale * np.exp(log_hazard / fit.shape)
    slopes = np.array([1.0, -log_hazard / fit.shape])
    error = float(np.sqrt(slopes @ fit.covariance @ slopes))
    reach = special.ndtri(0.975) * error
    return {
        "t": time,
        "se": time * error,
        "lo": time * np.exp(-reach),
        "hi": time * np.exp(reach),
    }


def _ten_and_ten(inputs: Any) -> dict[str, float]:
    fit = fit_weibull(*arrange(inputs["failures"], [500.0] * 10))
    moments = [special.gamma(1.0 + k / fit.shape) for k in (1, 2)]
    return {
        "shape": fit.shape,
        "scale": fit.scale,
        "mean": fit.scale * moments[0],
        "sd": fit.scale * np.sqrt(moments[1] - moments[0] ** 2),
        "minus_loglik": -fit.log_likelihood,
        "AIC_weibull": 4.0 - 2.0 * fit.log_likelihood,
    }


def _shock_absorbers(inputs: Any) -> dict[str, float]:
    lives = arrange(inputs["failures"], inputs["suspensions"])
    fit = fit_weibull(*lives, confidence=0.95, bounds="wald")
    scale_error, shape_error = np.sqrt(np.diag(fit.covariance))
    return {
        "mu": np.log(fit.scale),
        "se_mu": scale_error,
        "mu_lo": np.log(fit.scale_low),
        "mu_hi": np.log(fit.scale_high),
        "sigma": 1.0 / fit.shape,
        "sigma_lo": 1.0 / fit.shape_high,
        "sigma_hi": 1.0 / fit.shape_low,
        "var_mu": scale_error**2,
        "cov_mu_sigma": -fit.covariance[0, 1] / fit.shape,
        "var_sigma": (shape_error / fit.shape) ** 2,
        "se_sigma": shape_error / fit.shape,
        "eta": fit.scale,
        "se_eta": fit.scale * scale_error,
        "eta_lo": fit.scale_low,
        "eta_hi": fit.scale_high,
        "beta": fit.shape,
        "se_beta": fit.shape * shape_error,
        "beta_lo": fit.shape_low,
        "beta_hi": fit.shape_high,
        "loglik": fit.log_likelihood,
    }


def _shock_absorber_quantiles(inputs: Any) -> dict[str, float]:
    fit = fit_weibull(*arrange(inputs["failures"], inputs["suspensions"]))
    return {
        f"B{percent}_{name}": value
        for percent in ("0.1", "0.5", "1", "5", "10", "20", "50", "90")
        for name, value in quantile_bounds(fit, float(percent) / 100).items()
    }


def _shock_absorber_modes(inputs: Any) -> dict[str, float]:
    lower, upper = arrange(inputs["all"]["failures"], inputs["all"]["suspensions"])
    found = {}
    for mode in ("mode1", "mode2"):
        mine = np.isin(lower, inputs[f"{mode}_failures"])
        fit = fit_weibull(lower, np.where(mine, upper, np.inf))
        for percent in (1, 10, 50):
            for name, value in quantile_bounds(fit, percent / 100).items():
                found[f"{mode}_B{percent}_{name}"] = value
    return found


def _insulating_fluid(inputs: Any) -> dict[str, float]:
    time = np.concatenate(list(inputs.values()))
    group = np.repeat(list(inputs), [len(one) for one in inputs.values()])
    fit = fit_weibull(time, time, group=group, confidence=BY_1_96, bounds="wald")
    fields = {"beta": "shape", "eta": "scale"}
    found = {}
    for place, voltage in enumerate(fit.labels):
        for ours, name in fields.items():
            for end in ("", "_low", "_high"):
                value = getattr(fit, f"{name}{end}")[place]
                found[f"{voltage}kV_{ours}{end.replace('low', 'lo').replace('high', 'hi')}"] = value
        errors = np.sqrt(np.diag(fit.covariance[place]))
        found[f"{voltage}kV_mu"] = np.log(fit.scale[place])
        found[f"{voltage}kV_se_mu"] = errors[0]
        found[f"{voltage}kV_se_eta"] = errors[0] * fit.scale[place]
        found[f"{voltage}kV_sigma"] = 1.0 / fit.shape[place]
        found[f"{voltage}kV_se_sigma"] = errors[1] / fit.shape[place]
        found[f"{voltage}kV_se_beta"] = errors[1] * fit.shape[place]
    return found


def _bearing_cages(inputs: Any) -> dict[str, float]:
    lower, upper = arrange(inputs["failures"], [float(age) for age in inputs["suspensions"]])
    weight = [*np.ones(len(inputs["failures"])), *inputs["suspensions"].values()]
    fit = fit_weibull(lower, upper, weight=weight)
    return {"shape": fit.shape, "scale": fit.scale}


def _ball_bearings(inputs: Any) -> dict[str, float]:
    fit = fit_weibull(inputs["failures"], inputs["failures"])
    return {"shape": fit.shape, "scale": fit.scale, "loglik": fit.log_likelihood}


def _demonstrations(inputs: Any) -> dict[str, float]:
    found = {}
    for place, plan in enumerate(inputs[:3], start=1):
        bound = scale_lower_bound([1.0], [plan["n"]], plan["beta"], plan["C"])
        found[f"k{place}"] = 1.0 / (bound * (-np.log1p(-plan["p"])) ** (1.0 / plan["beta"]))
    return found


def _tubes(inputs: Any) -> dict[str, float]:
    """Cracks found a year later are deaths of that year; the sound leave after the look."""
    at_risk, cracked = inputs["at_risk"], inputs["cracked"]
    left = [at_risk[0] - cracked[0] - at_risk[1], at_risk[1] - cracked[1] - at_risk[2]]
    left.append(at_risk[2] - cracked[2])
    year = np.arange(1.0, 4.0)
    steps = estimate_survival(
        np.append(year, year), np.append(year, np.full(3, np.inf)), weight=[*cracked, *left]
    )
    return {f"year{place}_F": 1.0 - steps.survival[place - 1] for place in (1, 2, 3)}


REPRODUCED = {
    "W01": _ten_and_ten,
    "W02": _shock_absorbers,
    "W03": _shock_absorber_quantiles,
    "W07": _shock_absorber_modes,
    "W08": _bearing_cages,
    "W11": _ball_bearings,
    "R07": _insulating_fluid,
    "H01": _tubes,
    "Z01": _demonstrations,
}
