"""Do trial plans reach their power, do looks keep the risk, do pumps that differ fool the test?"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pumplife.materials.trial_looks import more_failures, plan_looks, weigh_harm
from pumplife.materials.trial_play import plan_trial, play_trials
from pumplife.materials.trial_size import (
    ALIKE,
    APART,
    INSIDE,
    PAIRS,
    TrialDesign,
    expect_failures,
    failures_to_show,
)
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
    (1.25, 16, 3.0, 0.77),  # clustered, by what it says: independent lives give 85 %
)
INDEPENDENT = TABLE[:4]
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
    ("12 pairs of like pumps, 2 looks", replace(PLAIN, pumps=12, layout=PAIRS), 2, "late"),
)  # fmt: skip
FOLLOWED = (
    # pumps of each material, their layout, ratio, looks
    (8, APART, 1.5, 3),
    (8, PAIRS, 1.5, 3),
    (12, PAIRS, 1.5, 1),
    (12, INSIDE, 1.5, 3),
)


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


def _follow(trials: int) -> Iterator[judge.Result]:
    """Power and risk of running trials that end at the failures they are said to need.

    The shape is that of all pumps' lives together, as a plant's records give it: flatter than one
    pump's.
    """
    for pumps, layout, ratio, count in FOLLOWED:
        design = replace(PLAIN, pumps=pumps, layout=layout, ratio=ratio, use=20.0, positions=4)
        spread = design.pump_spread
        apart = {APART: 1.0, PAIRS: 1.0 - ALIKE, INSIDE: 0.0}[layout]
        shape = (design.shape**-2 + 6.0 * (spread / np.pi) ** 2) ** -0.5
        looks = plan_looks(np.arange(1, count + 1) / count, RISK)
        needed = failures_to_show(ratio, shape, design.clusters, 2.0 * apart * spread**2 / pumps)
        needed = np.ceil(needed * (more_failures(looks, POWER, RISK) if count > 1 else 1.0))
        settings = {"looks": looks, "failures_needed": needed, "trials": trials}
        head = f"followed, {pumps} pumps {layout}, {count} looks, {needed:.0f} failures:"
        played = play_trials(design, **settings, seed=SEED)
        words = f"{head} longer life shown, 80 % promised"
        yield judge.within(words, played.power, trials, POWER - 0.05, POWER + 0.05)
        alike = play_trials(replace(design, ratio=1.0), **settings, seed=SEED + 1)
        words = f"{head} alike, called longer-lived at 5 %"
        yield judge.within(words, alike.power, trials, 0.0, 0.06)


def play_both(ratio: float, pumps: int, use: float, trials: int) -> dict[str, float]:
    """Powers of one row of `TABLE` by either test, and where both are as often wrong.

    Returns
    -------
    dict
        independent, clustered: shown at the bounds as they stand; wrong: alike materials called
        longer-lived by the independent test; fair: its power at a bound that is wrong in 5 %.
    """
    design = replace(PLAIN, ratio=ratio, pumps=pumps, use=use)
    played = play_trials(design, trials=trials, seed=SEED)
    alike = play_trials(replace(design, ratio=1.0), trials=trials, seed=SEED + 1)
    bound = np.quantile(alike.independent_score, 1.0 - RISK)
    return {
        "independent": float(played.shown_independent.mean()),
        "clustered": played.power,
        "wrong": float(alike.shown_independent.mean()),
        "fair": float((played.independent_score >= bound).mean()),
    }


def _table(trials: int) -> Iterator[judge.Result]:
    """A table of powers by lives taken as independent, and what knowing pumps leaves of them.

    What the pumps cost is what false alarms had bought: at a bound that is truly wrong in 5 % both
    tests show as much.
    """
    for ratio, pumps, use, power in TABLE:
        found = play_both(ratio, pumps, use, trials)
        head = f"table, ratio {ratio:g}, {pumps} pumps each, {use:g} scales:"
        told = (ratio, pumps, use, power) in INDEPENDENT
        for name, words, mine in (
            ("independent", "power if independent", told),
            ("clustered", "power, lives of a pump alike", not told),
        ):
            if mine:
                check = f"{head} {words} ({power:g} in the table)"
                yield judge.within(check, found[name], trials, power - 0.03, power + 0.03)
            else:
                yield judge.tell(f"{head} {words}", found[name], trials)
        words = f"{head} alike, called longer-lived at 5 % if independent"
        yield judge.tell(words, found["wrong"], trials)
        words = f"{head} power if independent at a bound that is wrong in 5 %, less the clustered"
        yield judge.within(words, found["fair"] - found["clustered"], trials, -0.03, 0.10)


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
    for part in (_plan, _follow, _table, _risk, _harm, _speed):
        yield from ((result, trials) for result in part(trials))
