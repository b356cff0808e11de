"""The renewal function, block replacement, minimal repair."""

import numpy as np
import pytest
from scipy import optimize

from pumplife.policy.renewal import (
    block_cost_rate,
    minimal_repair_interval,
    renewal_function,
    solve_renewal,
)
from tests.policy.sides import published, read_reference


def weibull(shape, scale=1.0):
    return lambda t: -np.expm1(-((t / scale) ** shape))


@pytest.mark.parametrize("case", read_reference("renewal.json")["values"])
def test_weibull_renewal_function(case):
    # independently computed: 18-digit series
    renewals = renewal_function(weibull(case["beta"]), np.array([case["t_over_eta"]]))
    assert renewals[0] == pytest.approx(case["M"], rel=1e-6)


def test_table_of_a_textbook():
    # Tijms, A First Course in Stochastic Models (2003), Table 8.1.1
    case = published("P01")
    life = weibull(case["inputs"]["shape"], case["inputs"]["scale"])
    printed = {row["name"]: row["printed"] for row in case["outputs"]}
    renewals = renewal_function(life, np.array(case["inputs"]["t"]))
    for t, value in zip(case["inputs"]["t"], renewals, strict=True):
        text = printed[f"M({t})"]
        unit = 10.0 ** -len(text.split(".")[1])
        assert value == pytest.approx(float(text), abs=0.51 * unit + 2e-4 * float(text))


def test_gamma_life_in_closed_form():
    t = np.array([0.3, 1.0, 4.0])
    renewals = renewal_function(lambda x: 1.0 - np.exp(-x) * (1.0 + x), t)
    assert renewals == pytest.approx(t / 2.0 - 0.25 + np.exp(-2.0 * t) / 4.0, rel=1e-8)


def test_block_replacement_of_a_gamma_life():
    # Karlin & Taylor, A First Course in Stochastic Processes, chapter 5, Problem 7: the equation;
    # its roots independently computed
    case = published("P06")
    roots = [float(row["printed"]) for row in case["outputs"]]
    for planned, root in zip(case["inputs"]["c1_over_c2"], roots, strict=True):

        def rate(t, planned=planned):
            t = np.array([t])
            renewals = renewal_function(lambda x: -np.expm1(-x) - x * np.exp(-x), t, steps=4096)
            return block_cost_rate(renewals, t, planned, 1.0)[0]

        found = optimize.minimize_scalar(rate, bracket=(0.8 * root, root, 1.3 * root), tol=1e-10)
        assert found.x == pytest.approx(root, rel=1e-5)


def test_minimal_repair_interval():
    # Barlow & Hunter 1960, policy II: formula from memory, numbers independently computed
    case = published("P08")
    for given, row in zip(case["inputs"], case["outputs"], strict=True):
        interval = minimal_repair_interval(given["beta"], given["eta"], given["cp"], given["cr"])
        assert interval == pytest.approx(float(row["printed"]), rel=2e-8)
    assert np.isinf(minimal_repair_interval(1.0, 1000.0, 1.0, 1.0))


def test_lanes_are_solved_apart():
    grid = np.linspace(0.0, 3.0, 2 * 400 + 2)
    share = np.stack([weibull(2.0)(grid), weibull(0.7)(grid)])
    together = solve_renewal(1.0 - share[:, ::2], share, 0.3)
    for lane in (0, 1):
        alone = solve_renewal(1.0 - share[lane, ::2], share[lane], 0.3)
        assert together[lane] == pytest.approx(alone, rel=1e-12)
    assert together[:, 0] == pytest.approx([1.0, 1.0])


def test_thinned_exponential_life_is_exponential_at_the_thinned_rate():
    grid = np.linspace(0.0, 5.0, 2 * 2000 + 2)
    share = -np.expm1(-grid)
    kept = solve_renewal(1.0 - share[::2], share, 0.75)
    assert kept == pytest.approx(np.exp(-0.25 * grid[::2]), rel=1e-6)
