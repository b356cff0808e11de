"""A slice of what advice costs at the truth and of stated chances; `results.csv` holds the whole.

Seeds are fixed: what passes once passes until the code changes.
"""

import numpy as np
import pandas as pd
import pytest

from tests.prove.chances import judge_chances, state_chances
from tests.prove.regret import judge_limits, judge_regret, score_works
from tests.prove.small_works import COMMON, WIDE, make_works


@pytest.fixture(scope="module")
def scored() -> pd.DataFrame:
    return score_works(5002)


@pytest.fixture(scope="module")
def chances() -> pd.DataFrame:
    return state_chances(3, 40)


def test_works_with_dearer_breakdowns_have_the_same_tickets() -> None:
    common, wide = (make_works(7, services=4, ratio=ratio) for ratio in (COMMON, WIDE))
    for name, table in common.tables.items():
        pd.testing.assert_frame_equal(table, wide.tables[name])
    assert common.services["ratio"].between(*COMMON).all()
    assert common.services["ratio"].max() < wide.services["ratio"].max()
    assert common.plant_toml != wide.plant_toml


def test_even_works_have_no_assembly_faults_and_failures_of_all_numbers() -> None:
    works = [make_works(seed, even=True) for seed in range(4)]
    own = pd.concat([one.groups for one in works])["breakdowns"]
    assert own.between(0, 100).all()
    shares = [(own.between(low, low + 19)).mean() for low in (0, 20, 40)]
    assert min(shares) > 0.05  # planned work forestalls many
    assert all((one.lives["early_share"] == 0.0).all() for one in works)
    assert any((make_works(seed).lives["early_share"] > 0.0).any() for seed in range(4))


def test_advice_on_even_works_is_near_the_best() -> None:
    """The whole's mean is below 1 %; six services' groups vary by about as much."""
    groups = score_works(5003, services=6, ratio=COMMON, even=True)
    assert len(groups) > 6
    assert groups["regret"].mean() < 0.03
    assert groups["regret"].mean() < 0.3 * groups["regret_never"].mean()


def test_no_way_of_working_beats_the_best_at_the_truth(scored: pd.DataFrame) -> None:
    ways = [name for name in scored if name.startswith("regret")]
    assert len(ways) == 4
    assert (scored[ways].to_numpy() > -1e-9).all()
    assert scored["breakdowns"].sum() > 100


def test_advice_with_many_failures_is_near_the_best(scored: pd.DataFrame) -> None:
    """The whole's mean is 1.6 %; some twelve groups of four services vary by 1 %."""
    many = scored[scored["failures"] >= 20]
    assert len(many) > 8
    assert many["regret"].mean() < 0.05
    assert many["regret"].mean() < 0.3 * many["regret_never"].mean()
    assert many["regret"].mean() < 0.3 * many["regret_half"].mean()


def test_services_without_a_failure_borrow_instead_of_running_to_failure() -> None:
    groups = score_works(5004, services=6)
    few = groups[groups["failures"] < 3]
    assert len(few)
    assert few["regret"].mean() < 0.5 * few["regret_never"].mean()


def test_advice_that_ignores_wear_would_be_noticed(scored: pd.DataFrame) -> None:
    """The limit that the advice is held to fails running to failure."""
    (first, *_) = judge_regret(scored.assign(regret=scored["regret_never"]), "works", asked=True)
    assert first.passes is False


def test_hazardous_limits_hold() -> None:
    """Some twenty groups at a true 93 % vary by 6 %."""
    groups = score_works(5002, services=6, hazardous=1.0)
    assert (groups["hazard"] == "hazardous").all()
    assert groups["harsh"].any()
    _, held, *_ = judge_limits(groups)
    assert held.of > 8
    assert held.value > 0.75
    _, loose, *_ = judge_limits(groups.assign(release=3.0 * groups["release"]))
    assert loose.value < held.value


def test_stated_chances_come_true_as_often_as_they_say(chances: pd.DataFrame) -> None:
    """A third of 230 groups: a true 60 % varies by 6 %."""
    stated = chances.dropna(subset="stated").sort_values("stated")
    for rows in np.array_split(np.arange(len(stated)), 3):
        some = stated.iloc[rows]
        assert some["realised"].mean() == pytest.approx(some["stated"].mean(), abs=0.12)


def test_chances_too_sure_would_be_noticed(chances: pd.DataFrame) -> None:
    timid = chances.assign(stated=0.5 + 0.4 * (chances["stated"] - 0.5))
    whole = [one for one in judge_chances(timid) if one.passes is not None]
    assert [one.passes for one in whole] == [False]
