"""Published Weibull regressions, recomputed; the open data sets come with lifelines."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from lifelines import datasets

from pumplife.weibull import RegressionFit, compare_regressions, fit_regression

ROSSI = ("fin", "age", "race", "wexp", "mar", "paro", "prio")


def ending(time: Any, failed: Any) -> tuple[np.ndarray, np.ndarray]:
    """Return lower and upper of lives that failed or not."""
    lower = np.asarray(time, dtype=float)
    return lower, np.where(np.asarray(failed, dtype=bool), lower, np.inf)


def plain(lives: tuple[np.ndarray, ...], **options: Any) -> RegressionFit:
    """Return the fit without covariates."""
    return fit_regression(*lives, covariates=None, names=[], **options)


def lung(column: str) -> pd.DataFrame:
    """Return the lung data without the rows that lack a column."""
    return datasets.load_lung().dropna(subset=[column])


def rossi_lives(*, late: bool) -> tuple[pd.DataFrame, tuple[np.ndarray, ...]]:
    """Return covariates and lives; entered at week 2 by those beyond week 10, or at 0."""
    rows = datasets.load_rossi()
    entry = np.where(late & (rows["week"] > 10), 2.0, 0.0)
    return rows[list(ROSSI)], (*ending(rows["week"], rows["arrest"]), entry)


def _lung_alone(_: Any) -> dict[str, float]:
    rows = datasets.load_lung()
    fit = plain(ending(rows["time"], rows["status"]))
    return {
        "mu": fit.estimate[0],
        "sigma": np.exp(-fit.estimate[1]),
        "loglik": fit.log_likelihood,
    }


def _lung_by_status(_: Any) -> dict[str, float]:
    rows = lung("ph.ecog")
    lives = ending(rows["time"], rows["status"])
    names = ["sex", "age", "ph.ecog"]
    fit, null = fit_regression(*lives, covariates=rows[names], names=names), plain(lives)
    test = compare_regressions(null, fit)
    return {
        "intercept": fit.estimate[0],
        "sex": fit.estimate[1],
        "age": fit.estimate[2],
        "ph_ecog": fit.estimate[3],
        "scale": np.exp(-fit.estimate[4]),
        "loglik": fit.log_likelihood,
        "loglik0": null.log_likelihood,
        "LR_chisq": test.statistic,
        "p": test.p_value,
    }


def _lung_shape_by_sex(_: Any) -> dict[str, float]:
    rows = lung("ph.karno")
    names = ["sex", "age", "ph.karno"]
    women = (rows["sex"] == 2).to_numpy(float)[:, None]
    fit = fit_regression(
        *ending(rows["time"], rows["status"]),
        covariates=rows[names],
        names=names,
        shape_covariates=women,
        shape_names=["women"],
    )
    men_scale, women_scale = np.exp(-fit.log_shape([[0.0], [1.0]]))
    return {
        "intercept": fit.estimate[0],
        "sex": fit.estimate[1],
        "age": fit.estimate[2],
        "ph_karno": fit.estimate[3],
        "scale_m": men_scale,
        "scale_f": women_scale,
        "loglik": fit.log_likelihood,
    }


def rossi_terms(fit: RegressionFit) -> dict[str, float]:
    """Return estimates and standard errors under the names of the published table."""
    called = ["intercept", *ROSSI, "log_shape"]
    found = dict(zip(called, fit.estimate, strict=True))
    return found | {f"se_{name}": one for name, one in zip(called, fit.se, strict=True)}


def _rossi(_: Any) -> dict[str, float]:
    covariates, lives = rossi_lives(late=False)
    fit = fit_regression(*lives, covariates=covariates, names=ROSSI)
    test = compare_regressions(plain(lives), fit)
    return rossi_terms(fit) | {"loglik": fit.log_likelihood, "LR": test.statistic}


def _rossi_late(_: Any) -> dict[str, float]:
    covariates, lives = rossi_lives(late=True)
    return rossi_terms(fit_regression(*lives, covariates=covariates, names=ROSSI))


def _diabetes(_: Any) -> dict[str, float]:
    rows = datasets.load_diabetes()
    men = (rows["gender"] == "male").to_numpy(float)[:, None]
    fit = fit_regression(rows["left"], rows["right"], covariates=men, names=["gender"])
    return {
        "gender": fit.estimate[1],
        "se_gender": fit.se[1],
        "scale_female": np.exp(fit.estimate[0]),
        "shape": np.exp(fit.estimate[2]),
        "loglik": fit.log_likelihood,
    }


def _six(inputs: Any) -> dict[str, float]:
    lives = ending(inputs["time"], inputs["status"])
    fit = fit_regression(*lives, covariates=np.array([inputs["x"]]).T, names=["x"])
    test = compare_regressions(plain(lives), fit)
    return {
        "intercept": fit.estimate[0],
        "x": fit.estimate[1],
        "scale": np.exp(-fit.estimate[2]),
        "se_int": fit.se[0],
        "se_x": fit.se[1],
        "se_logscale": fit.se[2],
        "loglik": fit.log_likelihood,
        "loglik0": plain(lives).log_likelihood,
        "chisq": test.statistic,
    }


def remissions(inputs: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return lower, upper and treatment of the remission times."""
    treated = inputs["six_mp"]
    time = np.array([*treated["fail"], *treated["cens"], *inputs["placebo"]], dtype=float)
    place = np.arange(len(time))
    first, both = len(treated["fail"]), len(treated["fail"]) + len(treated["cens"])
    return (*ending(time, (place < first) | (place >= both)), (place < both).astype(float))


def _remissions(inputs: Any) -> dict[str, float]:
    lower, upper, treated = remissions(inputs)
    fit = fit_regression(lower, upper, covariates=treated[:, None], names=["treat"])
    return {
        "intercept": fit.estimate[0],
        "treat": fit.estimate[1],
        "scale": np.exp(-fit.estimate[2]),
        "loglik": fit.log_likelihood,
    }


def _larynx(_: Any) -> dict[str, float]:
    rows = datasets.load_larynx()
    names = ["Stage_II", "Stage_III", "Stage_IV", "age"]
    fit = fit_regression(*ending(rows["time"], rows["death"]), covariates=rows[names], names=names)
    called = ["mu", "stage2", "stage3", "stage4", "age"]
    errors = ["se_mu", "se2", "se3", "se4", "se_age"]
    found = dict(zip(called, fit.estimate[:5], strict=True))
    return found | dict(zip(errors, fit.se[:5], strict=True)) | {"sigma": np.exp(-fit.estimate[5])}


REPRODUCED = {
    "R01": _lung_alone,
    "R02": _lung_by_status,
    "R05": _lung_shape_by_sex,
    "R10": _rossi,
    "R11": _diabetes,
    "R12": _six,
    "R14": _remissions,
    "R15": _larynx,
    "L01": _rossi_late,
}
