"""Do trial plans reach their power, do looks keep the risk, do pumps that differ fool the test?"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pumplife.materials.trial_looks import plan_looks, weigh_harm
from pumplife.materials.trial_play import plan_trial, play_trials
from pumplife.materials.trial_size import INSIDE, PAIRS, TrialDesign, expect_failures
from tests.prove import judge

SEED = 9001
POWER, RISK = 0.80, 0.05
PLAIN = TrialDesign(pumps=10, use=1.5, shape=2.5, scale=1.0, ratio=1.5)
TABLE = (
    # ratio, pumps with each, use in reference scales, power in a table computed independently
    (1.5, 10, 1.5, 0.80),
    (1.5, 6, 3.0, 0.87),
    (1.5, 4, 3.0, 0.77),
    (2.0, 4, 1.5, 0.83),
    (1.25, 16, 3.0, 0.77),
)
PLANS = (
    ("10 pumps, 1 look", PLAIN, 1, "late"),
    ("10 pumps, 3 looks", PLAIN, 3, "late"),
    ("20 pumps, ratio 1.35, 3 looks", replace(PLAIN, pumps=20, ratio=1.35), 3, "late"),
    ("6 pumps, ratio 2, planned renewals at 0.8, 2 even looks",
     replace(PLAIN, pumps=6, ratio=2.0, interval=0.8), 2, "even"),
    ("12 pumps that differ by 0.25, staggered starts, 1 look",
     replace(PLAIN, pumps=12, pump_spread=0.25, stagger=0.3), 1, "late"),
    ("12 pumps with both inside, 2 looks", replace(PLAIN, pumps=12, positions=4, layout=INSIDE),
     2, "late"),
)  # fmt: skip


def _plan(trials: int) -> Iterator[judge.Result]:
    """Power and risk of plans, played anew."""
    for place, (named, design, looks, spending) in enumerate(PLANS):
        plan = plan_trial(design, power=POWER, looks=looks, spending=spending, seed=SEED + place)
        settings = {
            "looks": plan.looks,
            "failures_needed": plan.failures if looks > 1 else np.inf,
            "power": POWER,
            "trials": trials,
        }
        head = f"plans, {named}:"
        played = play_trials(plan.design, **settings, seed=SEED + 100 + place)
        words = f"{head} longer life shown, 80 % promised"
        yield judge.within(words, played.power, trials, POWER - 0.02, POWER + 0.02)
        alike = play_trials(replace(plan.design, ratio=1.0), **settings, seed=SEED + 200 + place)
        words = f"{head} alike, called longer-lived at 5 %"
        yield judge.within(words, alike.power, trials, 0.0, 0.06)
        share = float(played.ended.mean() / plan.design.use)
        yield judge.tell(f"{head} share of the longest use, on average", share, trials)


def _table(trials: int) -> Iterator[judge.Result]:
    """A table of powers that was computed with lives taken as independent, and by pumps."""
    for ratio, pumps, use, power in TABLE:
        design = replace(PLAIN, ratio=ratio, pumps=pumps, use=use)
        played = play_trials(design, trials=trials, seed=SEED)
        head = f"table, ratio {ratio:g}, {pumps} pumps each, {use:g} scales:"
        words = f"{head} power if independent ({power:g} in the table)"
        yield judge.tell(words, float(played.shown_independent.mean()), trials)
        yield judge.tell(f"{head} power, lives of a pump alike", played.power, trials)


def _risk(trials: int) -> Iterator[judge.Result]:
    """How often alike materials are called longer-lived, by either test."""
    for layout in ("apart", PAIRS, INSIDE):
        for spread in (0.15, 0.35):
            design = replace(PLAIN, ratio=1.0, use=3.0, pump_spread=spread, layout=layout)
            played = play_trials(design, trials=trials, seed=SEED)
            head = f"alike, 10 pumps {layout} that differ by {spread:g}:"
            words = f"{head} called longer-lived at 5 %"
            yield judge.within(words, played.power, trials, 0.0, 0.06)
            share = float(played.shown_independent.mean())
            yield judge.tell(f"{head} the same, lives taken as independent", share, trials)


def _harm(trials: int) -> Iterator[judge.Result]:
    """How often a trial stops for safety, looked at at each of 60 failures."""
    generator = np.random.default_rng(SEED)
    for rate, low, high in ((1.0, 0.0, 0.05), (2.0, 0.8, 1.0), (3.0, 0.8, 1.0)):
        due = np.cumsum(generator.exponential(1.0 / rate, (trials, 60)), axis=1)
        ever = float((weigh_harm(np.arange(1, 61), due) >= 20.0).any(axis=1).mean())
        words = f"stop for safety within 60 releases, {rate:g} times as often as the reference"
        yield judge.within(words, ever, trials, low, high)


def _speed(trials: int) -> Iterator[judge.Result]:
    """Processor time of trials of 40 pumps."""
    design = replace(PLAIN, pumps=20)
    looks = plan_looks([0.5, 1.0])
    busy = time.process_time()
    play_trials(design, trials=trials, seed=SEED)
    single = time.process_time() - busy
    words = f"{trials} trials of 40 pumps: seconds of processor"
    yield judge.within(words, single, 1, 0.0, 2.0)
    busy = time.process_time()
    needed = float(expect_failures(design).sum())
    play_trials(design, looks=looks, failures_needed=needed, trials=trials, seed=SEED)
    yield judge.tell(f"{words}, two looks", time.process_time() - busy, 1)


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Every result with the number of seeds behind it."""
    trials = max(500, round(5000 * scale))
    for part in (_plan, _table, _risk, _harm, _speed):
        yield from ((result, trials) for result in part(trials))
