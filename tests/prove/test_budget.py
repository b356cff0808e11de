"""A slice of the budget's coverage; `results.csv` holds the whole.

Seeds are fixed: what passes once passes until the code changes.
"""

import numpy as np
import pandas as pd
import pytest

from tests.prove.budget import KNOWN, QUANTITIES, SEEN, foretell_works, judge_budget


@pytest.fixture(scope="module")
def told() -> pd.DataFrame:
    return foretell_works(9003, plants=4)


def test_the_next_year_lies_where_it_was_foretold(told: pd.DataFrame) -> None:
    """Four plants of one works: their sum, of a spread of a fifth, within two such."""
    whole = told[(told["site"] == "all") & (told["quantity"] == "money")]
    assert len(whole) == 2
    assert (whole["came"] / whole["mean"]).between(0.6, 1.4).all()
    assert (whole["p50"] < whole["p80"]).all()
    assert (whole["p80"] < whole["p90"]).all()
    assert set(told["site"]) == {"all", *(f"site {n:02d}" for n in range(4))}
    assert (told["failures"] > 0).all()


def test_a_budget_that_is_too_narrow_or_too_wide_is_noticed() -> None:
    """A thousand years that are normal with a spread of 10; percentiles of one half or double."""
    rng = np.random.default_rng(1)
    came = rng.normal(100.0, 10.0, 1000)

    def rows(spread: float) -> pd.DataFrame:
        told = {"p80": 100.0 + 0.8416 * spread, "p90": 100.0 + 1.2816 * spread, "mean": 100.0}
        same = {"site": "site 00", "failures": 50.0, "came": came, **told}
        kinds = [(habits, name) for habits in (KNOWN, SEEN) for name in QUANTITIES]
        rows = [pd.DataFrame(same | {"scenario": one, "quantity": two}) for one, two in kinds]
        return pd.concat([*rows, *(row.assign(site="all") for row in rows)])

    def passes(spread: float) -> list[bool | None]:
        results = judge_budget(rows(spread))
        return [r.passes for r in results if KNOWN in r.check and r.target]

    assert passes(10.0) == [True, True]
    assert passes(5.0) == [False, False]
    assert passes(20.0) == [False, False]
