"""How much faster materials are compared and trials judged than by another library's fits."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pumplife.materials.compare import compare_pair
from pumplife.materials.facts import merge_equal
from pumplife.materials.trial_play import play_trials
from tests.prove.materials import draw_big
from tests.prove.trials import PLAIN

PUMPS, TRIALS = 1200, 500


def fit_other(frame: pd.DataFrame) -> float:
    """Log ratio by lifelines."""
    from lifelines import WeibullAFTFitter

    fitter = WeibullAFTFitter().fit(frame, "age", "failed")
    return float(fitter.params_["lambda_"]["marked"])


def busy(work, times: int) -> tuple[float, object]:
    """Least seconds of processor of several goes, and what came of the last."""
    taken = []
    for _ in range(times):
        began = time.process_time()
        found = work()
        taken.append(time.process_time() - began)
    return min(taken), found


@pytest.mark.filterwarnings("ignore")
def test_a_comparison_is_quicker_than_one_fit_of_lifelines() -> None:
    """Ratio with bounds, log-rank, test of the shape and verdict against one fit of the ratio."""
    facts = draw_big(PUMPS)
    lives = facts[(facts["service"] == "0") & (facts["part"] == "seat")]
    lives = lives[lives["kind"].isin(["CR", "TPV"])]
    frame = pd.DataFrame({"age": lives["lower"], "failed": np.isfinite(lives["upper"])})
    frame["marked"] = lives["kind"].eq("TPV").astype(float)
    frame = frame.join(pd.get_dummies(lives["size"], drop_first=True, prefix="size").astype(float))
    ours, pair = busy(lambda: compare_pair(merge_equal(lives), "TPV", "CR", "0"), 3)
    theirs, ratio = busy(lambda: fit_other(frame), 2)
    print(f"{len(lives)} lives compared {theirs / ours:.1f} times as fast ({1e3 * ours:.0f} ms)")
    assert pair.ratio.estimate == pytest.approx(ratio, abs=1e-3)
    assert theirs / ours >= 2.0


@pytest.mark.filterwarnings("ignore")
def test_a_trial_is_judged_many_times_as_fast_as_by_a_fit_of_lifelines() -> None:
    design = replace(PLAIN, pumps=20)
    ours, _ = busy(lambda: play_trials(design, trials=TRIALS, seed=1), 3)
    generator = np.random.default_rng(1)
    marked = np.repeat([0.0, 1.0], 80)
    life = np.where(marked > 0, 1.5, 1.0) * generator.weibull(2.5, 160)
    frame = pd.DataFrame({"age": np.minimum(life, 1.0), "failed": life <= 1.0, "marked": marked})
    theirs, _ = busy(lambda: fit_other(frame), 3)
    print(f"trials judged {theirs / ours * TRIALS:.0f} times as fast ({TRIALS}: {ours:.2f} s)")
    assert theirs / ours * TRIALS >= 50
