"""The doubt about every group as the tables show it."""

import numpy as np
import pytest

from pumplife.policy import ladder
from pumplife.policy.advice import advise
from pumplife.policy.decide import let_go
from pumplife.policy.doubt.table import TORNADO_COLUMNS, weigh_doubt
from tests.plants import small_plant
from tests.policy.doubt.groups import decided, doubtful, small_group
from tests.policy.sides import slip_fits, study_parts


def advice_of(folder, fits, **overrides):
    return advise(*study_parts(small_plant(folder, **overrides)), fits)


def test_tornado_has_the_strongest_input_first_and_rates_as_the_intervals(tmp_path):
    advice = advice_of(tmp_path, doubtful())
    tornado, row = advice.tornado, advice.intervals.iloc[0]
    assert tuple(tornado.columns) == TORNADO_COLUMNS
    reach = (tornado["saving_high"] - tornado["saving_low"]).abs()
    assert reach.is_monotonic_decreasing
    assert (tornado["kit"] == row["kit"]).all()
    between = tornado[["cost_rate_low", "cost_rate_high"]].to_numpy(float)
    around = (between.min(axis=1) < row["cost_rate"]) & (between.max(axis=1) > row["cost_rate"])
    assert around.mean() > 0.9
    assert "diaphragm: scale of its lives" in set(tornado["input"])


def test_intervals_say_what_knowing_is_worth_and_where_the_policy_flips(tmp_path):
    row = advice_of(tmp_path, doubtful(steep=0.7)).intervals.iloc[0]
    assert row["knowing_better_per_year"] > row["worth_of_half_year"] > 0.0
    assert row["worth_of_half_year_told"].split()[0] in ("about", "below")
    assert row["worth_of_half_year_told"].endswith(" EUR")
    assert row["learn_first"] == "diaphragm"
    assert row["near_best_also"] == ""
    assert 0.0 < row["flip_downtime_per_h"] < 100.0


def test_known_lives_leave_nothing_to_learn(tmp_path):
    advice = advice_of(tmp_path, slip_fits())
    row = advice.intervals.iloc[0]
    assert row["knowing_better_per_year"] == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(row["worth_of_half_year"])
    assert row["worth_of_half_year_told"] == ""
    assert row["learn_first"] == ""
    assert not advice.tornado["input"].str.contains("lives").any()


def test_a_group_without_advice_has_no_doubt(tmp_path):
    fits = doubtful()
    fits.table.loc[1, "material"] = "PTFE"
    advice = advice_of(tmp_path, fits)
    assert advice.doubts == (None,)
    assert advice.tornado.empty
    assert np.isnan(advice.intervals.loc[0, "knowing_better_per_year"])


def test_the_same_records_give_the_same_doubt(tmp_path):
    one, other = (advice_of(tmp_path / name, doubtful()) for name in ("a", "b"))
    assert one.tornado.equals(other.tornado)
    assert one.intervals.equals(other.intervals)


def test_doubt_asks_the_integrals_that_the_decision_has(tmp_path, monkeypatch):
    group, ladders, count = small_group(tmp_path), [], ladder._count_steps

    def counted(*asked):
        ladders.append(count(*asked))
        return ladders[-1]

    monkeypatch.setattr(ladder, "_count_steps", counted)
    decision = decided(group)
    assert len(ladders) == 1
    kept = weigh_doubt(group, decision, units=("EUR", "hours"))
    assert len(ladders) == 2  # and one for the changes of lives
    anew = weigh_doubt(group, let_go(decision), units=("EUR", "hours"))
    assert len(ladders) == 4  # once let go, the integrals have to be computed anew
    assert anew.row == kept.row
