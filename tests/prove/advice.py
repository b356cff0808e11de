"""How long advice takes for many groups and for many pumps, once their lives are fitted.

Run as a module, it measures so many `groups` or `pumps` and prints what it found as JSON.
"""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from itertools import cycle, islice
from pathlib import Path

import numpy as np

from pumplife.policy.advice import advise, let_go
from pumplife.policy.decide import Decision, decide_group
from pumplife.policy.groups import SideGroup, build_groups
from pumplife.policy.ways.alone import closed_ways
from pumplife.records.second import in_turn
from tests.prove import judge
from tests.prove.bulk import watch_memory
from tests.prove.plants import make_plant, run_route

ROOT = Path(__file__).resolve().parents[2]
SEED = 6
GROUPS, DRAWS = 1_000, 500
MOST_SECONDS_GROUPS, MOST_MEMORY = 5.0, 1024.0
PUMPS, MOST_SECONDS_PUMPS = 20_000, 60.0
"""Asked of the clock on two processors [s], and of memory [MiB]."""
PUMPS_OF_ONE = 90  # of the plant that is repeated


def measure_groups(count: int) -> dict[str, float]:
    """Clock [s] of decisions and closed ways of so many groups, those of one plant in turn."""
    route = run_route(make_plant(SEED))
    target = route[0].plant.hazardous_failure_probability
    ready = [group for group in build_groups(*route) if not group.missing]
    groups = list(islice(cycle([_with_draws(group) for group in ready]), count))

    def decide(group: SideGroup) -> Decision:
        decision = decide_group(group, release_target=target)
        closed_ways(group, decision)
        return let_go(decision)

    begun = time.perf_counter()
    decided = list(in_turn(decide, groups, DRAWS * count))
    return {"wall": time.perf_counter() - begun, "of": len(decided)}


def _with_draws(group: SideGroup) -> SideGroup:
    """The group with so many draws, the first ones again where there are fewer."""
    some = np.arange(DRAWS) % group.lives.shape.shape[-1]
    return replace(group, lives=group.lives[:, some], alone=group.alone[:, some])


def measure_pumps(count: int) -> dict[str, float]:
    """Clock [s] of the whole advice for so many pumps; sides on the due list."""
    route = run_route(make_plant(SEED, scale=max(1, round(count / PUMPS_OF_ONE))))
    begun = time.perf_counter()
    advice = advise(*route)
    return {"wall": time.perf_counter() - begun, "of": len(advice.due)}


def _run(what: str, count: int) -> dict[str, float]:
    command = [sys.executable, "-m", "tests.prove.advice", what, str(count)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT) as run:
        peak = watch_memory(run)
        told = run.stdout.read() if run.stdout else ""
    if run.returncode:
        raise RuntimeError(f"The advice for many {what} could not be measured.")
    return dict(json.loads(told.splitlines()[-1])) | {"peak": peak}


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """The clock for many groups and for many pumps, each in a process of its own."""
    share = min(scale, 1.0)
    count = max(1, round(share * GROUPS))
    found = _run("groups", count)
    words = f"{count:,} groups x {DRAWS} draws, decided with all closed ways"
    wall = judge.within(f"{words}: seconds", found["wall"], 1, 0.0, MOST_SECONDS_GROUPS)
    yield wall, 1
    memory = judge.within(f"{words}: peak memory [MiB]", found["peak"], 1, 0.0, MOST_MEMORY)
    yield memory, 1
    count = max(PUMPS_OF_ONE, round(share * PUMPS))
    found = _run("pumps", count)
    words = f"policies and due list of {count:,} pumps"
    yield judge.within(f"{words}: seconds", found["wall"], 1, 0.0, MOST_SECONDS_PUMPS), 1
    yield judge.tell(f"{words}: peak memory [MiB], with the route to it", found["peak"], 1), 1


if __name__ == "__main__":
    measure = {"groups": measure_groups, "pumps": measure_pumps}[sys.argv[1]]
    sys.stdout.write(json.dumps(measure(int(sys.argv[2]))) + "\n")
