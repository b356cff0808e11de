"""Many groups at once: two processes decide as one; powers, grids, limits and calendars by hand."""

import numpy as np
import pandas as pd
import pytest
from scipy import special

from pumplife.fits.table import quantiles_of_means
from pumplife.policy.alive import powers_of_numbers, running_powers
from pumplife.policy.by_calendar import UsagePattern, calendar_cost
from pumplife.policy.cycles import CycleCurves
from pumplife.policy.limits import release_limit
from pumplife.policy.pump import SideLife
from pumplife.policy.renewal import renew_on_grid, solve_renewal
from pumplife.records import second
from tests.plants import pump_rows
from tests.policy.sides import draws
from tests.policy.test_advice import advised

needs_two = pytest.mark.skipif(not second.may_fork(), reason="one processor, or no fork here")


@needs_two
def test_two_processes_decide_as_one(tmp_path, monkeypatch):
    first, *others = pump_rows()
    plant = {
        "pumps": [first | {"size_mm": 80}, *others, first | {"pump_id": "P-9", "service": "?"}]
    }
    one_log, one = advised(tmp_path / "one", **plant)
    monkeypatch.setattr(second, "WORTH", 0)
    two_log, two = advised(tmp_path / "two", **plant)
    assert [decision is None for decision in two.decisions].count(True) == 1
    for name in ("intervals", "tornado", "policies", "due", "load", "outage"):
        pd.testing.assert_frame_equal(getattr(two, name), getattr(one, name))
    pd.testing.assert_frame_equal(two_log.log.frame(), one_log.log.frame())


def test_numbers_to_a_power_are_products_of_primes():
    shape = np.array([[0.3, 2.0], [1.0, 3.7]])
    powers = powers_of_numbers(shape, 50)
    by_power = np.arange(50.0)[None, :, None] ** shape[:, None]
    assert powers == pytest.approx(by_power, rel=1e-13)
    assert powers_of_numbers(shape, 1).tolist() == [[[0.0, 0.0]], [[0.0, 0.0]]]
    assert running_powers(np.array([0.5, 3.0]), 7) == pytest.approx(
        np.array([0.5, 3.0]) ** np.arange(7.0)[:, None], rel=1e-14
    )


@pytest.mark.parametrize("keep", [0.0, 0.3, 0.98])
def test_a_renewal_equation_step_by_step_is_that_by_transform(keep):
    rng = np.random.default_rng(4)
    rows, steps, lanes = 3, 40, 20
    scale = rng.uniform(5.0, 30.0, (rows, 1, lanes))
    survival = np.exp(-((np.arange(2 * steps + 2)[None, :, None] / scale) ** 2.2))
    stepped = renew_on_grid(survival, keep)
    last = np.moveaxis(survival, 1, -1)
    transformed = solve_renewal(last[..., 0::2], 1.0 - last, keep)
    assert np.moveaxis(stepped, 1, -1) == pytest.approx(transformed, abs=1e-8)


@pytest.mark.parametrize("share", [0.5, 0.9, 0.95, 1.0])
def test_a_limit_holds_at_the_quantile_of_the_draws(share):
    rng = np.random.default_rng(5)
    shape, scale = rng.uniform(1.2, 4.0, (1, 41)), rng.uniform(5e3, 3e4, (1, 41))
    side = SideLife(lives=draws(shape, scale), count=np.array([2.0]))
    limit = release_limit(side, np.array([True]), 0.05, share)
    failed = 1.0 - np.exp(-2.0 * (limit / scale[0]) ** shape[0])
    assert np.quantile(failed, share) == pytest.approx(0.05, rel=1e-8)


def test_a_calendar_costs_the_mean_over_its_stretches():
    ages = np.geomspace(10.0, 1e4, 33)
    curves = CycleCurves(
        log_times=np.log(ages),
        cost=(100.0 + ages / 7.0)[:, None] * np.ones(3),
        uptime=ages[:, None] ** 0.9 * np.ones(3),
    )
    # of two pumps the second runs twice as much in every other step of four weeks
    course = np.array([[0.0, 1.0, 2.0, 3.0, 4.0], [0.0, 4 / 3, 2.0, 10 / 3, 4.0]])
    pattern = UsagePattern(rate=np.array([20.0, 40.0]), course=course, spread=0.1)
    steps = np.array([[[1.0, 1.0], [4 / 3, 2 / 3]], [[3.0, 3.0], [10 / 3, 8 / 3]]])
    usage = steps * 4.0 * pattern.rate[:, None]
    rates = (100.0 + usage / 7.0).mean(axis=2) / (usage**0.9).mean(axis=2)
    weeks = np.array([[4.0, 4.0], [12.0, 12.0]])
    found = calendar_cost(pattern, curves, weeks, np.inf)
    assert found == pytest.approx(365.25 / 7.0 * rates @ pattern.rate, rel=1e-4)
    capped = calendar_cost(pattern, curves, weeks, 0.9 * float(usage[1].max()))
    assert capped[0] == found[0]
    assert np.isinf(capped[1])


def test_a_mean_life_beyond_any_number_is_inf_and_leaves_quantiles_whole():
    lives = draws([[0.004, 0.004, 0.004, 2.0, 2.0]], 1e4, 0.02, 50.0)
    means = lives.mean()
    assert np.isinf(means[0]).tolist() == [True, True, True, False, False]
    low, middle, high = quantiles_of_means(means, [0.25, 0.5, 0.95])
    assert low[0] == pytest.approx(0.98 * 1e4 * special.gamma(1.5) + 1.0)
    assert np.isinf([middle[0], high[0]]).all()
