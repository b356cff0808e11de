"""Do ratios between materials hold the truth, and are records that can't tell known as such?"""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from pumplife.materials.compare import compare_pairs
from pumplife.materials.confounded import YES, judge_pair
from pumplife.materials.facts import number_strata
from pumplife.weibull.regression_ratio import fit_ratio
from tests.prove import judge

SEED = 7001
SHAPE = 2.5
LIVES = 6  # positions and renewals of one pump
CONFIDENCE = 0.90


def draw_arms(
    generator: np.random.Generator, pumps: int, ratio: float, spread: float
) -> dict[str, Any]:
    """Lives of two materials on `pumps` pumps each, of two sizes; a third is suspended.

    Pumps differ by `spread` in log scale; the second size lives 1.3 times as long; one life in five
    enters late.
    """
    pump = np.repeat(np.arange(2 * pumps), LIVES)
    marked, size = pump % 2 == 1, (pump // 2) % 2
    own = generator.normal(0.0, spread, 2 * pumps)[pump]
    scale = np.exp(own + np.log(ratio) * marked + np.log(1.3) * size)
    entry = np.where(generator.random(len(pump)) < 0.2, 0.3 * scale.mean(), 0.0)
    # of those that enter late: lives that reached their entry
    tail = (entry / scale) ** SHAPE + generator.exponential(1.0, len(pump))
    life = scale * tail ** (1.0 / SHAPE)
    until = entry + generator.uniform(0.3, 2.0, len(pump))
    return {
        "lower": np.minimum(life, until),
        "upper": np.where(life <= until, life, np.inf),
        "entry": entry,
        "marked": marked,
        "stratum": size,
        "cluster": pump,
    }


def _cover(plants: int, pumps: int, ratio: float, spread: float) -> Iterator[judge.Result]:
    generator = np.random.default_rng(SEED + pumps + round(100 * ratio))
    truth, held, plain, off, longer = np.log(ratio), [], [], [], []
    for _ in range(plants):
        found = fit_ratio(**draw_arms(generator, pumps, ratio, spread), confidence=CONFIDENCE)
        held.append(found.low <= truth <= found.high)
        plain.append(found.likelihood_low <= truth <= found.likelihood_high)
        off.append(found.estimate - truth)
        longer.append(found.prob_longer > 1.0 - 0.5 * (1.0 - CONFIDENCE))
    words = f"ratio {ratio:g}, {pumps} pumps an arm that differ by {spread:g} in log scale"
    asked = pumps >= 20
    for name, value in (("90 % bounds", held), ("90 % bounds of independent lives", plain)):
        share, check = float(np.mean(value)), f"{words}: true ratio within the {name}"
        told = value is held and asked
        yield (
            judge.within(check, share, plants, 0.88, 0.92)
            if told
            else judge.tell(check, share, plants)
        )
    yield judge.within(f"{words}: mean error of the log", float(np.mean(off)), plants, -0.02, 0.02)
    if ratio == 1.0:
        share = float(np.mean(longer))
        yield judge.tell(f"{words}: called longer-lived at 5 % though alike", share, plants)


def make_facts(
    generator: np.random.Generator, pumps: int, *, design: str, weeks: float = 250.0
) -> pd.DataFrame:
    """Lives of two materials as `gather_facts` gives them, in one of several designs.

    clean: by chance within service and size; service, size: each material in one of its own;
    date: all changed over at one date; pace: one material on pumps worked twice as hard.
    """
    rows = []
    for number in range(2 * pumps):
        kind = generator.random() < 0.5 if design in ("clean", "date") else number % 2 == 1
        pace = generator.lognormal(np.log(100.0), 0.25) * (2.0 if design == "pace" and kind else 1)
        day = generator.uniform(0.0, 100.0)
        while day < 7.0 * weeks:
            second = day > 3.5 * weeks if design == "date" else kind
            life = 9000.0 * generator.weibull(SHAPE)
            planned = generator.uniform(4000.0, 12000.0)
            end = min(day + 7.0 * min(life, planned) / pace, 7.0 * weeks)
            age = (end - day) / 7.0 * pace
            failed = end < 7.0 * weeks and life <= planned
            rows.append((number, "TPV" if second else "CR", day, end, age, failed, pace))
            day = end
    names = ["pump", "kind", "start", "end", "lower", "failed", "pace"]
    facts = pd.DataFrame(rows, columns=names)
    for name in ("start", "end"):
        facts[name] = pd.Timestamp("2020-01-01") + pd.to_timedelta(facts[name], unit="D")
    second = facts["kind"].eq("TPV")
    facts = facts.assign(
        upper=np.where(facts["failed"], facts["lower"], np.inf),
        entry=0.0,
        weight=1.0,
        usage=facts["lower"],
        failures=facts["failed"].astype(float),
        early=False,
        side="fluid",
        part="diaphragm",
        service=np.where(second & (design == "service"), "glaze", "slip"),
        size=np.where(second & (design == "size"), 80.0, 50.0),
        solids="",
        period="",
        pressure=np.nan,
        temperature=np.nan,
        stroke_rate=np.nan,
    )
    return number_strata(facts[facts["lower"] > 0.0])


def _flag(plants: int) -> Iterator[judge.Result]:
    """How often records that can't tell two materials apart are said to be so."""
    for design in ("clean", "service", "size", "date", "pace"):
        generator = np.random.default_rng(SEED)
        wrong = [
            judge_pair(make_facts(generator, 20, design=design), "TPV", "CR").comparable != YES
            for _ in range(plants)
        ]
        low, high = (0.0, 0.05) if design == "clean" else (0.95, 1.0)
        words = f"20 pumps an arm, {design} design: said not to be comparable"
        yield judge.within(words, float(np.mean(wrong)), plants, low, high)


def draw_big(pumps: int) -> pd.DataFrame:
    """Lives of three parts in 8 services, 3 sizes and 3 materials on so many pumps, 5 kits each."""
    generator = np.random.default_rng(SEED)
    parts = {"diaphragm": 2, "ball": 4, "seat": 4}
    kits = 5 * pumps
    pump = np.repeat(np.arange(pumps), 5)
    start = pd.Timestamp("2015-01-01") + pd.to_timedelta(400.0 * np.tile(range(5), pumps), "D")
    frames = []
    for part, count in parts.items():
        row = np.repeat(np.arange(kits), count)
        ended = generator.uniform(2000.0, 9000.0, kits)[row]
        life = 20000.0 * generator.weibull(SHAPE, len(row))
        lower = np.minimum(life, ended)
        frames.append(
            pd.DataFrame(
                {
                    "part": part,
                    "pump": pump[row],
                    "service": (pump[row] % 8).astype(str),
                    "size": 50.0 + 10.0 * (pump[row] // 8 % 3),
                    "kind": np.array(["CR", "EPDM", "TPV"])[pump[row] // 24 % 3],
                    "start": start[row],
                    "lower": lower,
                    "upper": np.where(life <= ended, lower, np.inf),
                    "pace": 100.0 + 0.001 * (pump[row] * 7919 % 1000),
                }
            )
        )
    facts = pd.concat(frames, ignore_index=True)
    blank = dict.fromkeys(("pressure", "temperature", "stroke_rate"), np.nan)
    return number_strata(
        facts.assign(
            end=facts["start"] + pd.Timedelta(days=399),
            side="fluid",
            solids="",
            period="",
            entry=0.0,
            weight=1.0,
            usage=facts["lower"],
            failures=np.isfinite(facts["upper"]).astype(float),
            early=False,
            **blank,
        )
    )


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Every result with the number of seeds behind it."""
    plants = max(50, round(2000 * scale))
    for pumps, ratio, spread in (
        (20, 1.0, 0.35),
        (20, 1.5, 0.35),
        (40, 1.5, 0.35),
        (20, 1.5, 0.0),
        (8, 1.5, 0.35),
    ):
        yield from ((result, plants) for result in _cover(plants, pumps, ratio, spread))
    some = max(20, round(200 * scale))
    yield from ((result, some) for result in _flag(some))
    pumps = max(500, round(20_000 * scale))
    facts = draw_big(pumps)
    busy = time.process_time()
    pairs = compare_pairs(facts)
    busy = time.process_time() - busy
    words = f"{pumps} pumps, {len(facts)} lives, {len(pairs)} comparisons: seconds of processor"
    yield judge.within(words, busy, 1, 0.0, 10.0), 1
