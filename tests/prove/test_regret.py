"""A slice of the regret topic: advice from raw tickets of small works, at the truth."""

import pandas as pd
import pytest

from tests.prove.regret import score_works


@pytest.fixture(scope="module")
def groups():
    """Pump groups of two small works."""
    return pd.concat([score_works(seed, services=6) for seed in (5001, 5002)])


def test_advice_costs_little_more_than_the_best_and_less_than_rules_of_thumb(groups):
    assert len(groups) >= 15
    assert (groups["regret"] > -1e-6).all()  # nothing beats the best
    assert groups["regret"].mean() < 0.08
    for rule in ("regret_never", "regret_half", "regret_likely"):
        assert groups["regret"].mean() < groups[rule].mean(), rule


def test_services_without_a_failure_borrow_instead_of_running_to_failure(groups):
    few = groups[groups["failures"] < 3]
    assert len(few)
    assert few["regret"].mean() < 0.5 * few["regret_never"].mean()
