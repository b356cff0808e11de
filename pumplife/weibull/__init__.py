"""Weibull lives as arrays: fits, bounds, posterior draws, early lives, shared breakdowns."""

from pumplife.weibull.adequacy import SecondOpinion, ask_second_opinions
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.early import EarlyLives, find_early_lives
from pumplife.weibull.early_by_group import find_early_anywhere
from pumplife.weibull.estimate import WeibullFit, fit_weibull
from pumplife.weibull.given import ScaleFit, fit_scale, scale_lower_bound
from pumplife.weibull.goodness import check_goodness
from pumplife.weibull.life_bounds import LifeBounds, bound_life
from pumplife.weibull.masked import share_masked
from pumplife.weibull.posterior import LifePosterior, fit_posterior
from pumplife.weibull.regression import RegressionFit, fit_regression
from pumplife.weibull.regression_clusters import ClusteredErrors, clustered_covariance
from pumplife.weibull.regression_shapes import (
    ShapeTest,
    TermsTest,
    compare_regressions,
    compare_shapes,
    judge_terms,
)
from pumplife.weibull.resample import draw_asymptotic, draw_bootstrap
from pumplife.weibull.residuals import HazardSteps, Residuals, check_residuals, find_residuals
from pumplife.weibull.rivals import Rivals, compare_rivals
from pumplife.weibull.survival import SurvivalSteps, estimate_survival

__all__ = [
    "ClusteredErrors",
    "EarlyLives",
    "HazardSteps",
    "LifeBounds",
    "LifeDraws",
    "LifePosterior",
    "RegressionFit",
    "Residuals",
    "Rivals",
    "ScaleFit",
    "SecondOpinion",
    "ShapeTest",
    "SurvivalSteps",
    "TermsTest",
    "WeibullFit",
    "ask_second_opinions",
    "bound_life",
    "check_goodness",
    "check_residuals",
    "clustered_covariance",
    "compare_regressions",
    "compare_rivals",
    "compare_shapes",
    "draw_asymptotic",
    "draw_bootstrap",
    "estimate_survival",
    "find_early_anywhere",
    "find_early_lives",
    "find_residuals",
    "fit_posterior",
    "fit_regression",
    "fit_scale",
    "fit_weibull",
    "judge_terms",
    "scale_lower_bound",
    "share_masked",
]
