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
"""Asked of the clock on two processors [s], and of memory [MiB]."""
EVERY = 0.5
"""How often memory is looked at [s]."""
_PROC = Path("/proc")
MOST_TIMES = 15.0
"""Ten would be in proportion; half as much again is allowed, as in the benchmarks."""
AUDIT = """
import json, resource, sys, time
sys.path.insert(0, {root!r})
import pandas as pd
from pathlib import Path
from pumplife.study import audit_records

def processor():
    told = [resource.getrusage(whose) for whose in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in told)

def read_bare():
    start = processor()
    for name in ("pumps", "rebuilds", "readings"):
        pd.read_csv(Path({folder!r}) / (name + ".csv"), dtype=str, keep_default_na=False)
    return processor() - start

wall, busy = time.perf_counter(), processor()
check = audit_records({folder!r})
wall, busy = time.perf_counter() - wall, processor() - busy
stopped = check.stopped
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
del check
print(json.dumps(dict(wall=wall, busy=busy, peak=peak, stopped=stopped, bare=read_bare())))
"""


def _audit(folder: Path, share: float) -> dict[str, float]:
    """Wall and processor time [s] and peak memory [MiB] of an audit with all its processes.

    `bare` is what pandas alone needs of the processor to read the same files as text [s].
    """
    sizes = (round(share * size) for size in (PUMPS, TICKETS, READINGS))
    code = AUDIT.format(root=str(ROOT), folder=str(write_big_folder(folder, *sizes)))
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as run:
        peak = watch_memory(run)
        told = run.stdout.read() if run.stdout else ""
    if run.returncode:
        raise RuntimeError("The records of the large folder could not be read.")
    measured = dict(json.loads(told.splitlines()[-1]))
    if measured["stopped"]:
        raise RuntimeError("The records of the large folder stop the study.")
    return measured | {"peak": max(peak, measured["peak"])}


def watch_memory(run: "subprocess.Popen[str]") -> float:
    """Most memory that a process and those it forks were seen to hold together [MiB]."""
    most = 0.0
    while True:
        try:
            run.wait(EVERY)
        except subprocess.TimeoutExpired:
            most = max(most, sum(map(_own_memory, [run.pid, *_forked_by(run.pid)])))
        else:
            return most


def _forked_by(process: int) -> list[int]:
    try:
        told = (_PROC / str(process) / "task" / str(process) / "children").read_text()
    except OSError:
        return []
    return [int(word) for word in told.split()]


def _own_memory(process: int) -> float:
    """Memory of a process, its share of what it shares with others [MiB]; 0 once it has ended."""
    try:
        lines = (_PROC / str(process) / "smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return sum(float(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Read, audit and turn into lives a large folder, and one a tenth as large."""
    share = min(scale, 1.0)
    with tempfile.TemporaryDirectory(prefix="invented-") as folder:
        whole = _audit(Path(folder) / "whole", share)
        tenth = _audit(Path(folder) / "tenth", share / 10)
    words = f"{share * TICKETS:,.0f} tickets and {share * READINGS:,.0f} readings to lives"
    yield judge.within(f"{words}: seconds", whole["wall"], 1, 0.0, MOST_SECONDS), 1
    busy = whole["busy"]
    yield judge.tell(f"{words}: seconds of processor", busy, 1), 1
    bare = busy / whole["bare"]
    yield judge.tell(f"{words}: times the processor of pandas reading them as text", bare, 1), 1
    yield judge.within(f"{words}: peak memory [MiB]", whole["peak"], 1, 0.0, MOST_MEMORY), 1
    ratio = busy / tenth["busy"]
    words = f"{words}: times the processor of a tenth of it"
    yield judge.within(words, ratio, 1, 0.0, MOST_TIMES), 1
