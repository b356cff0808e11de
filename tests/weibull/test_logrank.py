"""The log-rank test: by hand, against R's output and lifelines."""

import numpy as np
import pytest
from lifelines import datasets
from lifelines.statistics import logrank_test, multivariate_logrank_test

from pumplife.weibull.logrank import LogRank, compare_survival
from tests.prove.materials import draw_arms
from tests.reference.checks import published
from tests.reference.regressions import ending, remissions

# 26 women with ovarian cancer (J. H. Edmonson et al., 1979; in R's package survival): days, died,
# residual disease, treatment; data from memory
OVARIAN = (
    (59, 1, 2, 1), (115, 1, 2, 1), (156, 1, 2, 1), (421, 0, 2, 2), (431, 1, 2, 1), (448, 0, 1, 1),
    (464, 1, 2, 2), (475, 1, 2, 2), (477, 0, 2, 1), (563, 1, 1, 2), (638, 1, 1, 1), (744, 0, 1, 2),
    (769, 0, 2, 2), (770, 0, 2, 2), (803, 0, 1, 1), (855, 0, 1, 1), (1040, 0, 2, 1),
    (1106, 0, 1, 1), (1129, 0, 1, 2), (1206, 0, 2, 2), (1227, 0, 1, 2), (268, 1, 2, 1),
    (329, 1, 2, 1), (353, 1, 1, 2), (365, 1, 2, 2), (377, 0, 1, 2),
)  # fmt: skip


def compare(lives, marked, stratum=None) -> LogRank:
    """Every life of a pump of its own."""
    return compare_survival(*lives, marked=marked, stratum=stratum, cluster=np.arange(len(marked)))


def test_lung_cancer_of_men_and_women_as_r_prints_it():
    """Machine Learning with R Cookbook, 2nd ed., chapter on survival (public page): survdiff."""
    rows = datasets.load_lung()
    lives = ending(rows["time"], rows["status"])
    men, women = (compare(lives, (rows["sex"] == sex).to_numpy()) for sex in (1, 2))
    assert (men.failed, women.failed) == (112.0, 53.0)
    assert men.expected == pytest.approx(91.5817, abs=5e-5)
    assert women.expected == pytest.approx(73.4183, abs=5e-5)
    assert men.statistic == pytest.approx(10.3267, abs=5e-5)
    assert women.statistic == pytest.approx(men.statistic)
    assert men.p_value == pytest.approx(0.00131116, abs=5e-9)


def test_remissions_as_r_prints_them():
    """survdiff in several course notes (public pages); data from memory."""
    lower, upper, treated = remissions(published("regressions")["R14"]["inputs"])
    found = compare((lower, upper), treated > 0.0)
    assert found.failed == 9.0
    assert found.expected == pytest.approx(19.3, abs=0.05)
    assert found.statistic == pytest.approx(16.8, abs=0.05)
    assert found.p_value == pytest.approx(4.17e-5, abs=5e-8)


def test_strata_as_r_prints_them():
    """survdiff with strata(resid.ds) beside `survdiff_fast`, of another package (public page)."""
    days, died, disease, treatment = np.array(OVARIAN).T
    found = compare(ending(days, died), treatment == 1, disease)
    assert found.failed == 7.0
    assert found.statistic == pytest.approx(1.279643, abs=5e-7)


def test_log_rank_is_that_of_lifelines():
    told = draw_arms(np.random.default_rng(1), 20, 1.5, 0.3)
    failed, mark = np.isfinite(told["upper"]), told["marked"]
    age = np.round(told["lower"], 1) + 0.1  # with ties
    ours = compare_survival(
        age, np.where(failed, age, np.inf), marked=mark, cluster=told["cluster"]
    )
    theirs = logrank_test(age[mark], age[~mark], failed[mark], failed[~mark])
    many = multivariate_logrank_test(age, mark, failed)
    assert ours.statistic == pytest.approx(theirs.test_statistic, rel=1e-9)
    assert ours.p_value == pytest.approx(many.p_value, rel=1e-9)


def test_log_rank_with_late_entry_by_hand():
    """Two of each; one enters at 2. At 1: 2 of 3 marked... counts written out at each failure."""
    found = compare_survival(
        [1.0, 3.0, 4.0, 5.0],
        [1.0, 3.0, 4.0, np.inf],
        [0.0, 0.0, 2.0, 0.0],
        marked=[True, False, True, False],
        cluster=[0, 1, 2, 3],
    )
    # at 1: at risk 3, marked 1; at 3: at risk 3 (one entered), marked 1; at 4: at risk 2, marked 1
    assert found.failed == 2.0
    assert found.expected == pytest.approx(1 / 3 + 1 / 3 + 1 / 2)
    variance = 1 / 3 * 2 / 3 + 1 / 3 * 2 / 3 + 1 / 2 * 1 / 2
    assert found.statistic == pytest.approx((2 - found.expected) ** 2 / variance)
