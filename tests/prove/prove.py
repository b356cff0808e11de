"""Prove the route on invented plants whose truth is known: `make prove`.

Runs every topic whole and writes `results.csv` beside this file: what was checked, what is asked,
what came out. `--only TOPIC` runs one topic and replaces its rows; `--detail FOLDER` keeps the
frames behind the route's results.
"""

import argparse
import datetime
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from importlib.metadata import version
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path.insert(0, str(ROOT))
os.environ.setdefault("OMP_NUM_THREADS", "1")  # the two workers fill the cores

import pandas as pd  # noqa: E402
from tqdm import tqdm  # noqa: E402

from tests.prove import (  # noqa: E402
    adequacy,
    advice,
    alike,
    bounds,
    budget,
    bulk,
    judge,
    lifestory,
    limits,
    materials,
    plants,
    posterior,
    regression,
    regret,
    replay,
    rewind,
    stores,
    trials,
)

FIRST_SEED = 1001
MEASURE = """
import json, resource, sys, time
sys.path.insert(0, {root!r})
from pumplife.study import run_study
wall, busy = time.perf_counter(), time.process_time()
study = run_study({folder!r})
print(json.dumps({{
    "wall": time.perf_counter() - wall,
    "busy": time.process_time() - busy,
    "peak": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    "tables": len(study.tables),
}}))
"""


def _spread(task: Callable[[int], Any], count: int, words: str) -> list[Any]:
    """The task for `count` seeds in a row, over two cores."""
    seeds = range(FIRST_SEED, FIRST_SEED + count)
    with ProcessPoolExecutor(2) as pool:
        return list(tqdm(pool.map(task, seeds), total=count, desc=words, disable=None))


def _measure(folder: Path) -> dict[str, float]:
    """Wall and processor time [s] and peak memory [MiB] of a study in a process of its own."""
    code = MEASURE.format(root=str(ROOT), folder=str(folder))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def _measure_speed() -> Iterator[judge.Result]:
    """Time and memory of a study; the processor's time is judged, since it knows no neighbours."""
    demo = _measure(ROOT / "data" / "demo")
    yield judge.tell("demo, 90 pumps: seconds of computing", demo["wall"], 1)
    yield judge.tell("demo, 90 pumps: seconds of processor", demo["busy"], 1)
    yield judge.tell("demo, 90 pumps: peak memory [MiB]", demo["peak"], 1)
    with tempfile.TemporaryDirectory(prefix="invented-") as folder:
        big = plants.make_plant(FIRST_SEED, scale=50)
        times = _measure(plants.write_plant(big, Path(folder) / "plant"))
    words = "fifty times the demo, 4500 pumps"
    yield judge.tell(f"{words}: seconds of computing", times["wall"], 1)
    yield judge.within(f"{words}: seconds of processor", times["busy"], 1, 0.0, 60.0)
    yield judge.tell(f"{words}: peak memory [MiB]", times["peak"], 1)


def _prove(scale: float, detail: Path | None) -> Iterator[tuple[judge.Result, int]]:
    """Every result with the number of seeds behind it."""
    many, some = max(2, round(200 * scale)), max(2, round(40 * scale))

    def keep(name: str, frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
        frame = pd.concat(frames, ignore_index=True)
        if detail is not None:
            frame.to_csv(detail / f"{name}.csv", index=False)
        return frame

    regret = keep("regret", _spread(plants.regret_clean, some, "regret"))
    yield from ((result, some) for result in judge.judge_regret(regret))
    blank = keep("blank", _spread(plants.blank_clean, some, "blanks"))
    yield from ((result, some) for result in judge.judge_blanks(blank))
    clean = keep("clean", _spread(plants.cover_clean, many, "clean records"))
    found = [*judge.judge_coverage(clean, records="clean", low=0.87, high=0.93)]
    yield from ((result, many) for result in (*found, *judge.judge_false_alarms(clean)))
    fits, rows = zip(*_spread(plants.cover_spoilt, many, "spoilt records"), strict=True)
    spoilt = keep("spoilt", fits)
    found = [*judge.judge_coverage(spoilt, records="spoilt", low=0.80, high=1.0)]
    got = keep("recovered", rows)
    yield from ((result, many) for result in (*found, *judge.judge_spoilt(got)))
    yield from ((result, 1) for result in _measure_speed())


def _as_row(topic: str, result: judge.Result, seeds: int) -> dict[str, Any]:
    return {
        "topic": topic,
        "check": result.check,
        "target": result.target,
        "value": f"{result.value:.4g}",
        "of": result.of,
        "seeds": seeds,
        "passes": {None: "", True: "yes", False: "no"}[result.passes],
        "version": version("pumplife"),
        "date": f"{datetime.datetime.now(tz=datetime.UTC):%Y-%m-%d}",
    }


TOPICS: dict[str, Callable[[float], Iterator[tuple[judge.Result, int]]]] = {
    # name: from the share of the seeds to run to results, each with the seeds behind it
    "regression": regression.prove,
    "bounds": bounds.prove,
    "posterior": posterior.prove,
    "adequacy": adequacy.prove,
    "alike": alike.prove,
    "lifestory": lifestory.prove,
    "bulk": bulk.prove,
    "limits": limits.prove,
    "rewind": rewind.prove,
    "regret": regret.prove,
    "materials": materials.prove,
    "replay": replay.prove,
    "stores": stores.prove,
    "advice": advice.prove,
    "budget": budget.prove,
    "trials": trials.prove,
}


def _others(out: Path, rerun: list[str]) -> pd.DataFrame:
    """Rows of the topics that are not run this time."""
    if not out.exists():
        return pd.DataFrame()
    known = pd.read_csv(out, dtype=str, keep_default_na=False)
    return known[~known["topic"].isin(rerun)]


def main() -> int:
    """Run the topics, write results.csv; 1 where a target is missed."""
    names = ["route", *TOPICS]
    parser = argparse.ArgumentParser(description="Prove the route on invented plants.")
    parser.add_argument("--scale", type=float, default=1.0, help="share of the seeds to run")
    parser.add_argument("--only", choices=names, help="run one topic, keep the others' rows")
    parser.add_argument("--detail", type=Path, help="keep the rows behind the results here")
    parser.add_argument("--out", type=Path, default=HERE / "results.csv")
    options = parser.parse_args()
    if options.detail is not None:
        options.detail.mkdir(parents=True, exist_ok=True)
    chosen = [options.only] if options.only else names
    rows, missed = [], 0
    for topic in chosen:
        found = TOPICS.get(topic)
        results = found(options.scale) if found else _prove(options.scale, options.detail)
        for result, seeds in results:
            print(result, flush=True)
            rows.append(_as_row(topic, result, seeds))
            missed += result.passes is False
    table = pd.concat([_others(options.out, chosen), pd.DataFrame(rows)], ignore_index=True)
    place = {name: number for number, name in enumerate(names)}
    table = table.sort_values("topic", key=lambda topic: topic.map(place), kind="stable")
    table.to_csv(options.out, index=False, lineterminator="\n")
    print(f"{missed} targets missed; {options.out}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
