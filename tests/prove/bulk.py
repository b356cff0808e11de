"""How long a great many records take: a million tickets and five million readings."""

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.big_folder import write_big_folder
from tests.prove import judge

ROOT = Path(__file__).resolve().parents[2]
PUMPS, TICKETS, READINGS = 20_000, 1_000_000, 5_000_000
MOST_SECONDS, MOST_MEMORY = 90.0, 6144.0
"""Asked of the processor [s], and of memory [MiB]."""
MOST_TIMES = 15.0
"""Ten would be in proportion; half as much again is allowed, as in the benchmarks."""
AUDIT = """
import json, resource, sys, time
sys.path.insert(0, {root!r})
import pandas as pd
from pathlib import Path
from pumplife.study import audit_records

def read_bare():
    start = time.process_time()
    for name in ("pumps", "rebuilds", "readings"):
        pd.read_csv(Path({folder!r}) / (name + ".csv"), dtype=str, keep_default_na=False)
    return time.process_time() - start

wall, busy = time.perf_counter(), time.process_time()
check = audit_records({folder!r})
wall, busy = time.perf_counter() - wall, time.process_time() - busy
stopped = check.stopped
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
del check
print(json.dumps(dict(wall=wall, busy=busy, peak=peak, stopped=stopped, bare=read_bare())))
"""


def _audit(folder: Path, share: float) -> dict[str, float]:
    """Wall and processor time [s] and peak memory [MiB] of an audit in a process of its own.

    `bare` is what pandas alone needs of the processor to read the same files as text [s].
    """
    sizes = (round(share * size) for size in (PUMPS, TICKETS, READINGS))
    code = AUDIT.format(root=str(ROOT), folder=str(write_big_folder(folder, *sizes)))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    measured = dict(json.loads(done.stdout.splitlines()[-1]))
    if measured["stopped"]:
        raise RuntimeError("The records of the large folder stop the study.")
    return measured


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Read, audit and turn into lives a large folder, and one a tenth as large."""
    share = min(scale, 1.0)
    with tempfile.TemporaryDirectory(prefix="invented-") as folder:
        whole = _audit(Path(folder) / "whole", share)
        tenth = _audit(Path(folder) / "tenth", share / 10)
    words = f"{share * TICKETS:,.0f} tickets and {share * READINGS:,.0f} readings to lives"
    yield judge.tell(f"{words}: seconds", whole["wall"], 1), 1
    busy = whole["busy"]
    yield judge.within(f"{words}: seconds of processor", busy, 1, 0.0, MOST_SECONDS), 1
    bare = busy / whole["bare"]
    yield judge.tell(f"{words}: times the processor of pandas reading them as text", bare, 1), 1
    yield judge.within(f"{words}: peak memory [MiB]", whole["peak"], 1, 0.0, MOST_MEMORY), 1
    ratio = busy / tenth["busy"]
    words = f"{words}: times the processor of a tenth of it"
    yield judge.within(words, ratio, 1, 0.0, MOST_TIMES), 1
