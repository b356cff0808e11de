"""How much faster a batch of refits is than a loop over other libraries, with the same answers."""

from __future__ import annotations

import time

import numpy as np
import pytest

from pumplife.weibull import fit_weibull

REFITS, LIVES, LOOPS = 1000, 200, 50


@pytest.fixture(scope="module")
def resamples():
    """1 000 bootstrap resamples of 200 half-suspended lives: times, failed, groups."""
    generator = np.random.default_rng(11)
    life, until = 1000.0 * generator.weibull(2.2, (2, LIVES))
    age, failed = np.minimum(life, until), life <= until
    pick = generator.integers(0, LIVES, (REFITS, LIVES))
    return age[pick], failed[pick], np.repeat(np.arange(REFITS), LIVES)


@pytest.fixture(scope="module")
def batch(resamples):
    """The batch's fit and its best time of five [s]."""
    age, failed, group = resamples
    upper = np.where(failed, age, np.inf).ravel()
    taken = []
    for _ in range(5):
        started = time.process_time()
        fit = fit_weibull(age.ravel(), upper, group=group, bounds="wald")
        taken.append(time.process_time() - started)
    return fit, min(taken)


def report(library, batch_seconds, seconds):
    ratio = seconds / LOOPS * REFITS / batch_seconds
    print(f"{library}: {ratio:.0f} times ({batch_seconds * 1e3:.1f} ms for {REFITS} refits)")
    return ratio


@pytest.mark.filterwarnings("ignore")
def test_faster_than_looping_lifelines(resamples, batch):
    from lifelines import WeibullFitter

    age, failed, _ = resamples
    fit, batch_seconds = batch
    started = time.process_time()
    for row in range(LOOPS):
        other = WeibullFitter().fit(age[row], failed[row])
        assert other.rho_ == pytest.approx(fit.shape[row], rel=1e-3)
        errors = other.summary["se(coef)"]
        assert errors["rho_"] == pytest.approx(
            fit.shape[row] * np.sqrt(fit.covariance[row, 1, 1]), rel=1e-2
        )
    assert report("lifelines", batch_seconds, time.process_time() - started) >= 5000


@pytest.mark.filterwarnings("ignore")
def test_faster_than_looping_reliability(resamples, batch):
    from reliability.Fitters import Fit_Weibull_2P

    age, failed, _ = resamples
    fit, batch_seconds = batch
    started = time.process_time()
    for row in range(LOOPS):
        other = Fit_Weibull_2P(
            failures=age[row][failed[row]],
            right_censored=age[row][~failed[row]],
            show_probability_plot=False,
            print_results=False,
        )
        assert other.beta == pytest.approx(fit.shape[row], rel=1e-3)
        assert other.beta_SE == pytest.approx(
            fit.shape[row] * np.sqrt(fit.covariance[row, 1, 1]), rel=1e-2
        )
    assert report("reliability", batch_seconds, time.process_time() - started) >= 300


def test_time_grows_no_faster_than_lives():
    """Ten times the lives take at most fifteen times as long; groups as many."""
    generator = np.random.default_rng(12)
    taken = []
    for lives in (100_000, 1_000_000):
        life, until = 1000.0 * generator.weibull(2.0, (2, lives))
        age, group = np.minimum(life, until), np.repeat(np.arange(1000), lives // 1000)
        upper = np.where(life <= until, life, np.inf)
        times = []
        for _ in range(3):
            started = time.process_time()
            fit = fit_weibull(age, upper, group=group, bounds="wald")
            times.append(time.process_time() - started)
        assert (fit.reason == "").all()
        taken.append(min(times))
    assert taken[1] / taken[0] < 15.0
