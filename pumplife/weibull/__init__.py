"""Weibull lives as arrays: fits, bounds, posterior draws, early lives, shared breakdowns."""

from pumplife.weibull.adequacy import (
    SecondOpinion,
    SurvivalSteps,
    ask_second_opinions,
    compare_lognormal,
    estimate_survival,
)
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.early import EarlyLives, find_early_lives
from pumplife.weibull.early_by_group import find_early_anywhere
from pumplife.weibull.estimate import WeibullFit, fit_weibull, scale_lower_bound
from pumplife.weibull.masked import share_masked
from pumplife.weibull.posterior import LifePosterior, fit_posterior
from pumplife.weibull.resample import draw_asymptotic, draw_bootstrap

__all__ = [
    "EarlyLives",
    "LifeDraws",
    "LifePosterior",
    "SecondOpinion",
    "SurvivalSteps",
    "WeibullFit",
    "ask_second_opinions",
    "compare_lognormal",
    "draw_asymptotic",
    "draw_bootstrap",
    "estimate_survival",
    "find_early_anywhere",
    "find_early_lives",
    "fit_posterior",
    "fit_weibull",
    "scale_lower_bound",
    "share_masked",
]
