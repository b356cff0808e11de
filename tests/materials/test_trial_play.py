"""Played trials: the score is the comparison's own, plans reach their power, risks are kept."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import special

from pumplife.errors import RecordError
from pumplife.materials.trial_looks import plan_looks
from pumplife.materials.trial_play import plan_trial, play_trials
from pumplife.materials.trial_score import TrialLives, score_trials
from pumplife.materials.trial_size import INSIDE, PAIRS, TrialDesign, expect_failures
from pumplife.weibull.regression_ratio import fit_ratio

PLAIN = TrialDesign(pumps=10, use=1.5, shape=2.5, scale=1.0, ratio=1.5)


def draw_lives(trials=6, pumps=8, renewals=4):
    """Lives of two positions a pump, pumps that differ, a third of them suspended."""
    generator = np.random.default_rng(1)
    tested = np.arange(2 * pumps) >= pumps
    own = (
        np.exp(generator.normal(0.0, 0.3, (trials, 2 * pumps, 1)))
        * np.where(tested, 1.5, 1.0)[:, None]
    )
    life = generator.weibull(2.5, (trials, 2 * pumps, renewals)) * own
    end = generator.uniform(0.3, 1.2, life.shape)
    return TrialLives(
        age=1000.0 * np.minimum(life, end),
        failed=(life <= end) * 1.0,
        count=np.full(2 * pumps, 2.0),
        tested=tested,
        cluster=np.arange(2 * pumps),
    )


def as_rows(lives, trial):
    """Lower, upper and what `fit_ratio` wants beside: the one that failed, and the other."""
    age, failed = lives.age[trial].ravel(), lives.failed[trial].ravel()
    unit = np.repeat(np.arange(len(lives.count)), lives.age.shape[2])
    upper = np.concatenate([np.where(failed > 0, age, np.inf), np.full(len(age), np.inf)])
    marks = {"marked": lives.tested[np.tile(unit, 2)], "cluster": lives.cluster[np.tile(unit, 2)]}
    return (np.tile(age, 2), upper), marks


def test_the_score_is_that_of_the_comparison():
    lives = draw_lives()
    found = score_trials(lives)
    for trial in range(len(lives.age)):
        rows, marks = as_rows(lives, trial)
        plain = fit_ratio(*rows, **marks)
        assert found.log_ratio[trial] == pytest.approx(plain.estimate, abs=1e-7)
        assert found.shape[trial] == pytest.approx(plain.shape, rel=1e-7)
        assert found.design_effect[trial] == pytest.approx(plain.design_effect, rel=1e-6)
        score = found.score[trial]
        there = fit_ratio(*rows, **marks, confidence=float(2 * special.ndtr(abs(score)) - 1))
        assert (there.low if score > 0 else there.high) == pytest.approx(0.0, abs=1e-6)


def test_the_score_of_a_material_without_failures_is_that_of_the_comparison():
    lives = draw_lives(trials=2)
    lives = replace(lives, failed=lives.failed * ~lives.tested[:, None])
    rows, marks = as_rows(lives, 0)
    score = float(score_trials(lives).score[0])
    there = fit_ratio(*rows, **marks, confidence=float(2 * special.ndtr(score) - 1))
    assert there.low == pytest.approx(0.0, abs=1e-5)


def test_swapped_materials_turn_the_score_round():
    lives = draw_lives()
    half = len(lives.count) // 2
    swapped = replace(
        lives,
        age=np.roll(lives.age, half, axis=1),
        failed=np.roll(lives.failed, half, axis=1),
    )
    found, back = score_trials(lives), score_trials(swapped)
    assert back.log_ratio == pytest.approx(-found.log_ratio)
    assert back.score == pytest.approx(-found.score, abs=1e-9)
    scaled = score_trials(replace(lives, age=7.0 * lives.age))
    assert scaled.score == pytest.approx(found.score, abs=1e-9)


def test_trials_without_a_failure_tell_nothing():
    lives = draw_lives(trials=3)
    found = score_trials(replace(lives, failed=np.zeros_like(lives.failed)))
    assert (found.score == 0.0).all()
    assert np.isnan(found.log_ratio).all()


@pytest.mark.parametrize(
    "change",
    [{}, {"layout": INSIDE}, {"layout": PAIRS}, {"interval": 0.6, "stagger": 0.5},
     {"rest_shape": 2.0, "rest_scale": 0.8}],
)  # fmt: skip
def test_failures_played_are_those_expected(change):
    design = replace(PLAIN, **change)
    played = play_trials(design, trials=600, seed=5)
    assert played.failures.mean(axis=0) == pytest.approx(expect_failures(design), rel=0.05)
    assert (played.ended == design.use).all()


def test_alike_materials_are_called_longer_lived_at_the_risk_and_more_often_if_independent():
    """One-sided 5 %: independent lives give 9 % at a spread of 0.15 and 15 % at 0.35 in a table
    (independently computed); 1,500 trials vary by 0.6 to 0.9 points."""
    for spread, wrong in ((0.15, 0.09), (0.35, 0.15)):
        design = replace(PLAIN, ratio=1.0, use=3.0, pump_spread=spread)
        played = play_trials(design, trials=1500, seed=11)
        assert played.power <= 0.068
        assert played.shown_independent.mean() == pytest.approx(wrong, abs=0.03)


def test_a_plan_reaches_its_power_and_looks_keep_the_risk():
    """2,000 trials vary by 0.9 points about 80 %, by 0.5 about 5 %."""
    plan = plan_trial(replace(PLAIN, pumps=8), looks=2, seed=3)
    assert plan.reached
    assert plan.power == pytest.approx(0.8, abs=0.005)
    settings = {"looks": plan.looks, "failures_needed": plan.failures, "trials": 2000}
    played = play_trials(plan.design, **settings, seed=21)
    assert played.power == pytest.approx(0.8, abs=0.035)
    assert played.ended.mean() < plan.design.use
    alike = play_trials(replace(plan.design, ratio=1.0), **settings, seed=22)
    assert alike.power <= 0.065
    assert alike.futile.mean() > 0.1


def test_a_plan_that_may_not_take_long_enough_says_so():
    plan = plan_trial(PLAIN, longest=0.8, seed=3)
    assert not plan.reached
    assert plan.design.use == 0.8
    assert plan.power < 0.7


def test_no_plan_where_pumps_differ_more_than_the_ratio():
    with pytest.raises(RecordError, match="take more pumps, or ask for a larger ratio"):
        plan_trial(replace(PLAIN, pumps=2, ratio=1.1, pump_spread=0.5))


def test_an_early_look_can_end_a_trial():
    looks = plan_looks([0.5, 1.0], 0.05, "even")
    played = play_trials(
        replace(PLAIN, ratio=3.0, use=4.0), looks=looks, failures_needed=40.0, trials=300
    )
    assert played.shown.mean() > 0.99
    assert (played.look == 0).mean() > 0.9
    assert (played.ended[played.look == 0] < 4.0).all()
