"""Today's practice told from the records of a simulated plant that plans at 4,000 h."""

import numpy as np
import pytest

from pumplife.policy.advice import advise
from pumplife.policy.practice_told import tell_practice, usual_age
from pumplife.records.read import read_records
from pumplife.rewind.rewind import build_and_fit
from tests.rewind.fleet import fleet_tables, write_fleet


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("told") / "plant"
    records = read_records(write_fleet(folder, fleet_tables(9, planned=4000.0)))
    duty, known = build_and_fit(records, seed=1)
    return known.lives, advise(records, duty, known.clock, known.lives, known.fits)


def test_a_plant_that_keeps_to_its_interval(built):
    lives, advice = built
    told = tell_practice(lives, advice.groups[0])
    for name in ("low", "median", "high", "usual"):
        assert told[f"today_interval_{name}"] == pytest.approx(4000.0, abs=10.0)
    assert told["compliance"] == 1.0
    assert told["missed_share"] == 0.0
    assert advice.intervals["compliance"].iloc[0] == 1.0


def test_against_a_shorter_adopted_interval_all_ran_past(built):
    lives, advice = built
    told = tell_practice(lives, advice.groups[0], 2000.0)
    assert told["compliance"] == 0.0
    assert told["missed_share"] == 1.0
    rows = lives.visits
    late = rows["breakdown"].astype(bool) & (rows["age_of_kit"] > 2200.0)
    assert told["failures_past_interval"] == late.sum() > 0


def test_the_usual_age_is_where_most_planned_work_lies():
    ages = np.array([500.0, 1950.0, 2000.0, 2050.0, 3000.0])
    assert usual_age(ages) == 2000.0
