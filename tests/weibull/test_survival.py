"""The nonparametric survival: late entry, intervals, and both at once."""

from __future__ import annotations

import numpy as np
import pytest
from lifelines import KaplanMeierFitter
from scipy.optimize import isotonic_regression

from pumplife.errors import RecordError
from pumplife.weibull import estimate_survival
from pumplife.weibull.arrays import check_lives
from pumplife.weibull.survival import _chances, _find_stretches, _self_consistent, _settle_mass
from tests.weibull.sets import SETS, arrange, half_digit, read_printed, read_set

WITH_CURVE = [
    name for name, one in SETS.items() if np.size(one.get("kaplan_meier_R", {}).get("time", []))
]


@pytest.mark.parametrize("name", WITH_CURVE)
def test_survival_equals_the_reference(name):
    """R survival's survfit with late entry (lives.json)."""
    wanted = SETS[name]["kaplan_meier_R"]
    steps = estimate_survival(*read_set(name), confidence=0.95)
    times, survival = np.atleast_1d(wanted["time"]), np.atleast_1d(wanted["surv"])
    place = np.searchsorted(steps.time, (1.0 + 1e-9) * times, side="right") - 1
    assert np.append(1.0, steps.survival)[place + 1] == pytest.approx(survival, rel=1e-9, abs=1e-12)


def test_survival_by_hand():
    """4 lives: fail 100 (3/4), leave 200, fail 300 (3/8), leave 400."""
    steps = estimate_survival(*arrange([100.0, 300.0], [200.0, 400.0]))
    assert steps.time.tolist() == [100.0, 200.0, 300.0, 400.0]
    assert steps.survival == pytest.approx([0.75, 0.75, 0.375, 0.375])
    assert (steps.low <= steps.survival).all()
    assert (steps.high >= steps.survival).all()
    assert repr(steps) == "SurvivalSteps(4 steps)"


def test_survival_with_late_entry_by_hand():
    # the second life is not yet under watch at age 2
    steps = estimate_survival([2.0, 4.0, 5.0], [2.0, 4.0, np.inf], [0.0, 3.0, 0.0])
    at = np.searchsorted(steps.time, [2.0, 4.0], side="right") - 1
    np.testing.assert_allclose(steps.survival[at], [1 / 2, 1 / 4])


def test_survival_needs_a_life_that_was_watched():
    with pytest.raises(RecordError, match="No life was observed"):
        estimate_survival([2.0], [np.inf], [2.0])


def test_ranks_of_the_weibull_analysis_handbook():
    """Abernethy et al. 1983 p. 17 (ranks from memory): 5 failures, 3 suspensions.

    Benard's share (i - 0.3) / 8.4 of adjusted rank i. The product limit is another estimate, the
    middles of its steps lie within 0.04 of those shares.
    """
    printed = [0.098, 0.255, 0.411, 0.567, 0.723]
    lower, upper = arrange([30.0, 49.0, 82.0, 90.0, 96.0], [10.0, 45.0, 100.0])
    steps = estimate_survival(lower, upper)
    before = np.concatenate([[1.0], steps.survival[:-1]])
    falls = before > steps.survival
    middle = 1.0 - 0.5 * (before + steps.survival)[falls]
    assert middle == pytest.approx(printed, abs=0.04)
    rank = 9.0 * (1.0 - np.cumprod(_reduced(lower, upper)))
    assert rank == pytest.approx([1.125, 2.4375, 3.75, 5.0625, 6.375])


def _reduced(lower, upper):
    """Return Johnson's factors: each failure takes 1 / (1 + lives left) of the ranks left."""
    order = np.argsort(lower)
    left = np.arange(len(lower), 0, -1)
    failed = np.isfinite(upper[order])
    return (left / (left + 1.0))[failed]


def test_looks_at_heat_exchangers():
    """Printed: shares cracked and standard errors at years 1, 2, 3 (Meeker and Escobar 1998)."""
    printed = read_printed("H01")
    lower = [0.0, 1.0, 2.0, 1.0, 2.0, 3.0]
    upper = [1.0, 2.0, 3.0, np.inf, np.inf, np.inf]
    steps = estimate_survival(lower, upper, None, [4.0, 5.0, 2.0, 99.0, 95.0, 95.0],
                              confidence=0.95)  # fmt: skip
    assert steps.since.tolist() == [0.0, 1.0, 2.0]
    assert steps.time.tolist() == [1.0, 2.0, 3.0]
    reach = np.log(-np.log(steps.low)) - np.log(-np.log(steps.survival))
    error = reach / 1.959963985 * steps.survival * -np.log(steps.survival)
    for year in range(3):
        share, deviation = (printed[f"year{year + 1}_{name}"] for name in ("F", "se"))
        assert 1.0 - steps.survival[year] == pytest.approx(float(share), abs=half_digit(share))
        assert error[year] == pytest.approx(float(deviation), abs=half_digit(deviation))


def test_one_look_at_each_wheel_is_isotonic_regression():
    """Current status of 432 turbine wheels: the estimate is the isotonic regression of shares."""
    lower, upper, _, weight = read_set("turbine")
    steps = estimate_survival(lower, upper, None, weight)
    cracked = np.isfinite(upper)
    hours = np.unique(np.where(cracked, upper, lower))
    looked = np.array([weight[np.where(cracked, upper, lower) == hour].sum() for hour in hours])
    found = np.array([weight[cracked & (upper == hour)].sum() for hour in hours])
    wanted = isotonic_regression(found / looked, weights=looked).x
    place = np.searchsorted(steps.time, hours, side="right")
    failed = np.concatenate([[0.0], 1.0 - steps.survival])[place]
    assert failed == pytest.approx(wanted, abs=1e-5)


def test_intervals_that_overlap_agree_with_a_library():
    """lifelines' own expectation and maximisation; it writes a level at the start of its step."""
    generator = np.random.default_rng(3)
    life = 1000.0 * generator.weibull(2.0, 60)
    before, after = generator.uniform(0.0, 400.0, (2, 60))
    lower, upper = np.maximum(life - before, 0.0), life + after
    upper[:12] = np.inf
    steps = estimate_survival(lower, upper)
    library = KaplanMeierFitter().fit_interval_censoring(lower, upper, tol=1e-10)
    levels = library.survival_function_.to_numpy()[:, 0]
    assert len(steps.time) > 8
    nearest = np.abs(levels[:, None] - steps.survival).min(axis=0)
    assert nearest == pytest.approx(0.0, abs=1e-5)


def test_the_same_rounds_give_kaplan_meier():
    """On exact, suspended and late-entered lives, bounds by Greenwood included."""
    for name in ("sim_ltrunc", "bearings"):
        lives = read_set(name)
        known = estimate_survival(*lives)
        own = _self_consistent(check_lives(*lives), 0.90)
        at = np.searchsorted(known.time, own.time)
        assert known.time[at] == pytest.approx(own.time)
        assert own.survival == pytest.approx(known.survival[at], abs=1e-7)
        assert own.low == pytest.approx(known.low[at], abs=1e-5)
        assert own.high == pytest.approx(known.high[at], abs=1e-5)


def test_an_interval_with_late_entry_by_hand():
    """Fails in (0, 2]; fails at 3, watched from 2 on; runs at 4. The first step is 1/2 of 2.

    Two lives were watched from 0 on, of which one failed by 2; of the two then watched, one failed
    at 3: survival 1/2, then 1/4.
    """
    steps = estimate_survival([0.0, 3.0, 4.0], [2.0, 3.0, np.inf], [0.0, 2.0, 0.0])
    assert steps.since.tolist() == [0.0, 3.0]
    assert steps.time.tolist() == [2.0, 3.0]
    assert steps.survival == pytest.approx([0.5, 0.25])


def make_mixed(seed, rows):
    """Return lives of which some enter late and half of the failures lie between two looks."""
    generator = np.random.default_rng(seed)
    life = 1000.0 * generator.weibull(2.0, rows)
    entry = np.where(generator.random(rows) < 0.4, generator.uniform(0.0, 700.0, rows), 0.0)
    until = generator.uniform(200.0, 1800.0, rows)
    kept = (life > entry) & (until > entry)
    life, entry, until = life[kept], entry[kept], until[kept]
    between = (generator.random(len(life)) < 0.5) & (life <= until)
    look = 150.0 * np.floor(life / 150.0)
    lower = np.where(between, np.maximum(look, entry), np.minimum(life, until))
    upper = np.where(between, look + 150.0, np.where(life <= until, life, np.inf))
    return lower, upper, entry


def test_intervals_entered_late_reach_the_maximum():
    """No mass moved towards any stretch raises the likelihood: its slope is 0 or falls."""
    lives = make_mixed(1, 600)
    stretches = _find_stretches(check_lives(*lives))
    mass = _settle_mass(stretches)
    seen, reached = _chances(stretches, mass)
    size = len(mass) + 1
    pull = np.bincount(stretches.first, 1.0 / seen, size)
    pull = np.cumsum(pull - np.bincount(stretches.last, 1.0 / seen, size))[:-1]
    pull -= np.cumsum(np.bincount(stretches.entered, 1.0 / reached, size))[:-1]
    assert pull.max() < 1e-3
    assert np.abs(pull[mass > 1e-5]).max() < 1e-3
    steps = estimate_survival(*lives)
    assert np.abs(steps.survival - np.exp(-((steps.time / 1000.0) ** 2))).max() < 0.07


def test_bounds_with_intervals_and_late_entry_cover():
    """100 sets at three ages; 90 % of 300 varies by 3 %."""
    inside = []
    for seed in range(100):
        steps = estimate_survival(*make_mixed(100 + seed, 150))
        for age in (450.0, 750.0, 1050.0):
            at = np.searchsorted(steps.time, age, side="right") - 1
            true = np.exp(-((age / 1000.0) ** 2))
            inside.append(steps.low[at] <= true + 0.02 and true - 0.02 <= steps.high[at])
    assert np.mean(inside) > 0.84


def test_survival_knows_no_units():
    lower, upper, entry = make_mixed(2, 200)
    small, large = (
        estimate_survival(scale * lower, scale * upper, scale * entry) for scale in (1e-3, 1e9)
    )
    assert large.time == pytest.approx(1e12 * small.time)
    assert large.survival == pytest.approx(small.survival, abs=1e-9)
