"""Weibull lives as arrays: fits, bounds, posterior draws, early lives, shared breakdowns."""

from pumplife.weibull.adequacy import (
    SecondOpinion,
    ask_second_opinions,
)
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.early import EarlyLives, find_early_lives
from pumplife.weibull.estimate import WeibullFit, fit_weibull, scale_lower_bound
from pumplife.weibull.goodness import check_goodness
from pumplife.weibull.masked import share_masked
from pumplife.weibull.posterior import LifePosterior, fit_posterior
from pumplife.weibull.rivals import Rivals, compare_rivals
from pumplife.weibull.survival import SurvivalSteps, estimate_survival

__all__ = [
    "EarlyLives",
    "LifeDraws",
    "LifePosterior",
    "Rivals",
    "SecondOpinion",
    "SurvivalSteps",
    "WeibullFit",
    "ask_second_opinions",
    "check_goodness",
    "compare_rivals",
    "estimate_survival",
    "find_early_lives",
    "fit_posterior",
    "fit_weibull",
    "scale_lower_bound",
    "share_masked",
]
