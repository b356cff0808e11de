"""When releases reach a target, draw by draw, and whether a longer interval releases less."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from pumplife.policy.ages import own_times, time_at_hazard
from pumplife.policy.limits import _no_longer_is_better, _surely_more, release_limit
from pumplife.policy.pump import SideLife, integrate_side
from tests.policy.sides import draws, random_draws


@pytest.mark.parametrize("early", [0.0, 1e-6, 0.02, 0.05, 0.4])
@pytest.mark.parametrize("target", [1e-6, 0.0513, 0.1, 1.0, 40.0])
def test_ages_reach_a_hazard_also_where_early_lives_hold_it_still(early, target):
    """Two positions of which 2.5 % die early reach 5 % of failures where hardly any more fail."""
    rng = np.random.default_rng(4)
    lives = random_draws(rng, parts=2, count=60)
    share = np.array([[early], [0.0]]) * rng.uniform(0.9, 1.1, 60)
    lives = draws(lives.shape, lives.scale, share, 0.05)
    side = SideLife(lives=lives, count=np.array([2.0, 4.0]))
    found = time_at_hazard(side, target, 60)
    for draw in range(0, 60, 7):
        one = SideLife(lives=lives[:, draw : draw + 1], count=side.count)

        def over(log_age, one=one):
            return float(one.evaluate(np.exp(np.array([[log_age]])))[0][0, 0]) - target

        root = optimize.brentq(over, -60.0, 20.0, xtol=1e-13)
        assert np.log(found[draw]) == pytest.approx(root, abs=2e-9)


@settings(max_examples=40, deadline=None)
@given(
    shape=st.floats(0.7, 4.0),
    early=st.floats(0.0, 0.2),
    scale=st.floats(0.01, 2.0),
    target=st.floats(0.005, 0.3),
)
def test_bounds_never_refuse_what_the_integrals_allow(shape, early, scale, target):
    rng = np.random.default_rng(5)
    shapes = shape * rng.lognormal(0.0, 0.1, (1, 30))
    lives = draws(shapes, 10.0 * rng.lognormal(0.0, 0.2, (1, 30)), early, scale)
    side = SideLife(lives=lives, count=np.array([2.0]))
    reached = time_at_hazard(side, -np.log1p(-target), 30)
    limit = float(np.quantile(reached, 0.05))
    if _surely_more(side, limit):
        assert not _no_longer_is_better(side, limit)


def test_a_limit_is_kept_where_longer_releases_more_and_dropped_where_it_releases_less():
    """No assembly faults: wear alone; many: the target lies within the early lives."""
    count, one = np.array([2.0]), np.array([True])
    kept = SideLife(lives=draws([[2.5, 0.9]], [[12.0, 60.0]], 0.001, 0.3), count=count)
    assert release_limit(kept, one, 0.05) > 0.5
    dropped = SideLife(lives=draws([[2.5, 0.9]], [[12.0, 60.0]], 0.04, 0.3), count=count)
    assert release_limit(dropped, one, 0.05) == 0.0


def test_no_share_and_all_shares():
    side = SideLife(lives=draws([[2.5]], [[12.0]]), count=np.array([2.0]))
    assert release_limit(side, np.array([True]), 0.0) == 0.0
    assert release_limit(side, np.array([True]), 1.0) == np.inf


@pytest.mark.parametrize("count", [2, 30, 400])
def test_the_bound_holds_however_few_the_draws(count):
    for seed in range(20):
        rng = np.random.default_rng(seed)
        lives = draws(rng.uniform(1.0, 5.0, (1, count)), rng.lognormal(2.0, 1.0, (1, count)))
        side = SideLife(lives=lives, count=np.array([2.0]))
        limit = release_limit(side, np.array([True]), 0.05)
        failed = 1.0 - side.survival(np.array([[limit]]))[0]
        assert np.quantile(failed, 0.95) == pytest.approx(0.05, rel=1e-8)


def _more_at_the_limit(early):
    """Releases a usage unit at the limit over the fewest beyond it, less 1, by quadrature."""
    side = SideLife(lives=draws([[2.5]], [[12.0]], early, 0.3), count=np.array([2.0]))
    limit = float(time_at_hazard(side, -np.log(0.95), 1)[0])
    known = integrate_side(side, own_times(side), nodes=8)
    ages, rates = known.times[:, 0], ((1.0 - known.survival) / known.uptime)[:, 0]
    return float(np.interp(limit, ages, rates) / rates[ages > limit].min()) - 1.0


@pytest.mark.parametrize(("more", "kept"), [(3e-4, True), (3e-3, False)])
def test_a_limit_falls_where_a_longer_interval_releases_a_thousandth_less(more, kept):
    early = optimize.brentq(lambda share: _more_at_the_limit(share) - more, 0.01, 0.0245)
    side = SideLife(lives=draws([[2.5]], [[12.0]], early, 0.3), count=np.array([2.0]))
    assert (release_limit(side, np.array([True]), 0.05) > 0.0) is kept
