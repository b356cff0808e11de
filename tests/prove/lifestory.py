"""Late entry and interval censoring from records: true lives are recovered, naive readings not.

Sixty pumps of one service run long before the records begin; each carries one part, renewed when
it breaks down, when an inspection finds it failed, or by plan. The files hold the last six years
only. They go through the reader, the clock and the lives like any plant's; beside them stand the
same tickets read as is often done. Half the failures hide until someone looks. The rounds of
inspections begin and end with the records; what it costs where they don't is told.
"""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from pumplife.lives.build import build_lives
from pumplife.records.duty import build_duty
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock
from pumplife.weibull.estimate import fit_weibull
from tests.prove import judge

SEEDS = 200
PUMPS = 60
FIRST, LAST = pd.Timestamp("2019-01-01"), pd.Timestamp("2024-12-30")
WINDOW = float((LAST - FIRST).days)
BEFORE = 3650.0  # days that pumps ran before the records
HOURS_A_DAY = 12.0
SHAPE, SCALE = 2.5, 15_000.0  # of the truth [-], [h]
PLANNED = 16_000.0  # age at planned renewal [h]
ROUNDS = 12  # of inspections from the first to the last day of the window
LOOK_EVERY = WINDOW / ROUNDS  # days between them
HIDDEN = 0.5  # share of failures that show only when someone looks
FEW = 30.0  # failures from which a plant is asked for its truth
WAYS = ("from records", "ages from the window's start", "failures only", "detection as failure")


def run_pumps(seed: int, *, rounds_fit: bool = True) -> pd.DataFrame:
    """Lives of every pump from long before the records: pump, offset, start, end [day], how.

    Looks come every half year from day `offset`: 0 where the rounds fit the window.
    How: shown (broke down), found (failed in hiding, seen at an inspection), planned, running.
    """
    rng = np.random.default_rng(seed)
    offset = np.zeros(PUMPS) if rounds_fit else np.floor(rng.uniform(0.0, LOOK_EVERY, PUMPS))
    now = np.full(PUMPS, -BEFORE) + rng.uniform(0.0, 2000.0, PUMPS)
    lives = []
    for _ in range(60):  # renewals; far more than the years hold
        death = now + SCALE * rng.weibull(SHAPE, PUMPS) / HOURS_A_DAY
        hidden = rng.random(PUMPS) < HIDDEN
        looks = np.ceil((death - offset) / LOOK_EVERY) * LOOK_EVERY + offset
        seen = np.where(hidden, looks, death)
        plan = now + PLANNED / HOURS_A_DAY
        end = np.ceil(np.minimum(seen, plan))
        # a part that failed in hiding before its planned renewal is found failed there
        how = np.select(
            [seen <= plan, death <= plan], [np.where(hidden, "found", "shown"), "found"], "planned"
        )
        lives.append(
            pd.DataFrame(
                {"pump": np.arange(PUMPS), "offset": offset, "start": now, "end": end, "how": how}
            )
        )
        now = end
    every = pd.concat(lives, ignore_index=True)
    every["how"] = every["how"].where(every["end"] <= WINDOW, "running")
    return every[every["start"] < WINDOW].sort_values(["pump", "start"], ignore_index=True)


def write_records(lives: pd.DataFrame, folder: Path, seed: int) -> Path:
    """The files of such a plant: what was written since the window began, and the register."""
    rng = np.random.default_rng(seed)
    name = np.array([f"P-{number:02d}" for number in range(PUMPS)])
    ended = lives[(lives["end"] >= 0) & (lives["how"] != "running")].reset_index(drop=True)
    reason = ended["how"].map({"shown": "breakdown", "found": "inspection", "planned": "planned"})
    orders = pd.DataFrame(
        {
            "rebuild_id": [f"R-{number:04d}" for number in range(len(ended))],
            "pump_id": name[ended["pump"]],
            "opened_on": _date(ended["end"]),
            "reason": reason,
            "kit": "K",
            "failed_part": np.where(ended["how"] == "planned", "none", "valve"),
        }
    )
    looks = _looks(lives)
    visits = pd.DataFrame(
        {
            "rebuild_id": [f"I-{number:04d}" for number in range(len(looks))],
            "pump_id": name[looks["pump"]],
            "opened_on": _date(looks["day"]),
            "reason": "inspection",
            "kit": "none",
            "failed_part": "none",
        }
    )
    found = visits[["rebuild_id", "pump_id"]].assign(part="valve", found="sound", action="kept")
    before = lives[lives["start"] < 0].groupby("pump")["start"].max().reindex(range(PUMPS))
    told = rng.random(PUMPS) < 0.7  # the others' last renewal nobody remembers
    pumps = pd.DataFrame(
        {
            "pump_id": name,
            "site": "works",
            "service": "slip",
            "air_kit": "K",
            "commissioned_on": "2005-01-01",
            "last_air_renewal_on": np.where(told, _date(before), ""),
            "use_per_week": 7 * HOURS_A_DAY,
        }
    )
    day = np.append(np.arange(0.0, WINDOW, 60.0), WINDOW)
    readings = pd.DataFrame(
        {
            "pump_id": np.repeat(name, len(day)),
            "read_on": np.tile(_date(pd.Series(day)), PUMPS),
            "reading": np.tile(HOURS_A_DAY * day, PUMPS),
        }
    )
    part = {"part_no": "V", "part": "valve", "side": "air", "per_pump": 1, "unit_cost": 50}
    tables = {
        "pumps": pumps,
        "rebuilds": pd.concat([orders, visits]),
        "findings": found,
        "readings": readings,
        "parts": pd.DataFrame([part]),
        "kits": pd.DataFrame([{"kit": "K", "side": "air", "unit_cost": 60}]),
        "kit_contents": pd.DataFrame([{"kit": "K", "part_no": "V", "quantity": 1}]),
    }
    for table, rows in tables.items():
        rows.to_csv(folder / f"{table}.csv", index=False)
    window = f"records_from = {FIRST:%Y-%m-%d}\nrecords_to = {LAST:%Y-%m-%d}\n"
    (folder / "plant.toml").write_text(f'[plant]\nusage_unit = "hours"\n{window}')
    return folder


def _date(day: "pd.Series[float]") -> "np.ndarray":
    dates = FIRST + pd.to_timedelta(np.floor(day.to_numpy(float)), unit="D")
    return np.asarray(dates.strftime("%Y-%m-%d"), dtype=object)


def _looks(lives: pd.DataFrame) -> pd.DataFrame:
    """Inspections that found the part sound: pump, day; every half year, before its life ended."""
    rounds = np.arange(ROUNDS + 1) * LOOK_EVERY
    day = np.ceil(lives["offset"].to_numpy()[:, None] + rounds)
    start, end = (lives[name].to_numpy()[:, None] for name in ("start", "end"))
    row, column = np.nonzero((day > start) & (day < end) & (day <= WINDOW))
    return pd.DataFrame({"pump": lives["pump"].to_numpy()[row], "day": day[row, column]})


def fit_ways(seed: int, *, rounds_fit: bool = True) -> pd.DataFrame:
    """Shape and scale of one plant, by its records and as naive readings have them.

    Returns
    -------
    DataFrame
        One row per way: seed, way, failures, shape, scale, log_shape, log_scale (errors).
    """
    lives = run_pumps(seed, rounds_fit=rounds_fit)
    with tempfile.TemporaryDirectory(prefix="lifestory-") as folder:
        records = read_records(write_records(lives, Path(folder), seed))
    duty = build_duty(records)
    table = build_lives(records, duty, build_clock(records, duty)).table
    rows = [table[["entry", "lower", "upper"]].assign(way=WAYS[0])]
    rows += list(_naive(lives, table))
    every = pd.concat(rows, ignore_index=True)
    fit = fit_weibull(
        every["lower"], every["upper"], every["entry"], group=every["way"], bounds="wald"
    )
    failures = pd.Series(np.isfinite(every["upper"])).groupby(every["way"].to_numpy()).sum()
    found = pd.DataFrame({"way": sorted(WAYS), "shape": fit.shape, "scale": fit.scale})
    found["failures"] = found["way"].map(failures)
    errors = {
        "log_shape": np.log(found["shape"] / SHAPE),
        "log_scale": np.log(found["scale"] / SCALE),
    }
    return found.assign(seed=seed, **errors)


def _naive(lives: pd.DataFrame, table: pd.DataFrame) -> Iterator[pd.DataFrame]:
    """The same tickets with ages from the window's start, failures only, detection as failure."""
    seen = lives[lives["end"] >= 0]
    start, end = seen["start"].clip(lower=0.0), seen["end"].clip(upper=WINDOW)
    age = HOURS_A_DAY * np.maximum(end - start, 1.0)
    failed = seen["how"].isin(["shown", "found"])
    upper = age.where(failed, np.inf)
    yield pd.DataFrame({"entry": 0.0, "lower": age, "upper": upper, "way": WAYS[1]})
    died = table[np.isfinite(table["upper"])]
    alone = {"entry": 0.0, "lower": died["upper"], "upper": died["upper"]}
    yield pd.DataFrame(alone).assign(way=WAYS[2])
    late = np.isfinite(table["upper"])
    exact = table["lower"].mask(late, table["upper"])
    yield pd.DataFrame(
        {"entry": table["entry"], "lower": exact, "upper": table["upper"], "way": WAYS[3]}
    )


def judge_ways(ways: pd.DataFrame, *, errors: float = 3.0) -> Iterator[judge.Result]:
    """The mean log error of the records within `errors` standard errors; naive ones told.

    Shapes are divided by the small-sample factor (r - 0.68) / (r - 2) of r failures, for every way
    alike (R. Ross, IEEE Trans. Electrical Insulation, 1994-96; from memory).
    """
    rich = ways[ways["failures"] >= FEW]
    for way in WAYS:
        mine = rich[rich["way"] == way]
        for name in ("shape", "scale"):
            error = mine[f"log_{name}"]
            if name == "shape":  # what maximum likelihood is known to overshoot by in any sample
                error = error - np.log((mine["failures"] - 0.68) / (mine["failures"] - 2.0))
            spread = float(error.std(ddof=1) / np.sqrt(len(error)))
            head = f"records that begin in mid-life, {way}: {name}"
            if way == WAYS[0]:
                ratio = float(error.mean()) / spread
                words = f"{head}, mean log error in standard errors"
                yield judge.within(words, ratio, len(error), -errors, errors)
            yield judge.tell(f"{head}, mean log error", float(error.mean()), len(error))


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Two hundred plants at scale 1."""
    seeds = max(10, round(scale * SEEDS))
    ways = pd.concat([fit_ways(seed) for seed in range(1, seeds + 1)], ignore_index=True)
    for result in judge_ways(ways):
        yield result, seeds
    loose = range(1, max(10, seeds // 4) + 1)
    open_ended = pd.concat([fit_ways(seed, rounds_fit=False) for seed in loose], ignore_index=True)
    mine = open_ended[(open_ended["way"] == WAYS[0]) & (open_ended["failures"] >= FEW)]
    for name in ("shape", "scale"):
        head = "records that begin and end between two inspections, half the failures hidden"
        error = float(mine[f"log_{name}"].mean())
        yield judge.tell(f"{head}: {name}, mean log error", error, len(mine)), len(loose)
