"""Invented plants through the real route, beside the hidden truth that they were made from.

Every function here takes seeds and gives a DataFrame with one row per fitted group, per pump
group or per plant; nothing is judged here. `prove.py` and `test_slice.py` judge.
"""

import functools
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).resolve().parents[2]
for folder in (ROOT, ROOT / "data" / "demo"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))

from make_plant import Plant, make_plant, write_plant  # noqa: E402

from pumplife.fits.build import Fits, fit_lives  # noqa: E402
from pumplife.lives.build import Lives, build_lives  # noqa: E402
from pumplife.policy.advice import decide_all  # noqa: E402
from pumplife.policy.ages import own_times  # noqa: E402
from pumplife.policy.costs import cost_rates  # noqa: E402
from pumplife.policy.decide import FAILED_PART  # noqa: E402
from pumplife.policy.groups import SideGroup  # noqa: E402
from pumplife.policy.interval import cost_rate, optimal_interval  # noqa: E402
from pumplife.policy.practice import failed_part_rates  # noqa: E402
from pumplife.policy.pump import SideLife, integrate_side, integrate_to  # noqa: E402
from pumplife.records.duty import Duty, build_duty  # noqa: E402
from pumplife.records.read import Records, read_records  # noqa: E402
from pumplife.records.usage import UsageClock, build_clock  # noqa: E402
from pumplife.weibull.draws import LifeDraws  # noqa: E402
from pumplife.weibull.estimate import fit_weibull  # noqa: E402
from tests.demo.recovery import find_recovered  # noqa: E402

LIFE_KEYS = ["service", "part", "material"]
BLANKED_SHARE = 0.20
Route = tuple[Records, Duty, UsageClock, Lives, Fits]


def run_route(plant: Plant) -> Route:
    """Write the plant, read it back and fit its lives."""
    with tempfile.TemporaryDirectory(prefix="invented-") as folder:
        return run_folder(write_plant(plant, Path(folder) / "plant"))


@functools.lru_cache(maxsize=6)
def run_clean(seed: int) -> tuple[Plant, Route]:
    """A plant with clean records and what its files give: several questions are put to one."""
    plant = make_plant(seed, faults=False)
    return plant, run_route(plant)


def run_folder(folder: Path) -> Route:
    """Read a plant folder and fit its lives."""
    records = read_records(folder)
    duty = build_duty(records)
    clock = build_clock(records, duty)
    fits, lives = fit_lives(records, build_lives(records, duty, clock), seed=1)
    return records, duty, clock, lives, fits


def beside_truth(fits: Fits, plant: Plant) -> pd.DataFrame:
    """Fits of the endpoint "failed" with true_shape and true_scale [h], and what they cover."""
    truth = pd.DataFrame(plant.truth["settings"]["lives"])
    truth = truth.rename(columns={"shape": "true_shape", "scale": "true_scale"})
    mine = fits.table[fits.table["endpoint"] == "failed"]
    both = mine.merge(truth, on=LIFE_KEYS, how="left", validate="many_to_one")
    for name in ("shape", "scale"):
        true = both[f"true_{name}"]
        both[f"{name}_below"] = true < both[f"{name}_low"]
        both[f"{name}_above"] = true > both[f"{name}_high"]
        both[f"{name}_covered"] = ~both[f"{name}_below"] & ~both[f"{name}_above"]
    return both.assign(seed=plant.seed)


def cover_clean(seed: int) -> pd.DataFrame:
    """Fits of a plant with clean records."""
    plant, route = run_clean(seed)
    return beside_truth(route[-1], plant)


def cover_spoilt(seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Fits of a plant with spoilt records; and one row on what was got out of them.

    The second frame: seed, failures (true ones in the window), recovered, tickets (rows written),
    set_aside (rows that count in no life), assumed (used with an assumption), early_found.
    """
    plant = make_plant(seed, faults=True)
    records, _, _, lives, fits = run_route(plant)
    found = find_recovered(plant.truth["failures"], records, lives)
    account = lives.account[lives.account["kind"] == "ticket"]
    used = int(account["status"].str.startswith("used").sum())
    tickets = len(plant.tables["rebuilds"])
    row = {
        "seed": seed,
        "failures": len(found),
        "recovered": int(found.sum()),
        "tickets": tickets,
        "set_aside": tickets - used,
        "assumed": int((account["status"] == "used with an assumption").sum()),
        "early_found": bool((fits.table["early_share"] > 0).any()),
    }
    return beside_truth(fits, plant), pd.DataFrame([row])


def regret_clean(seed: int) -> pd.DataFrame:
    """What advice from records costs at the truth, over the best, per pump group.

    Columns: seed, service, side, kit, hazard, failures (behind the group's fits), limited
    (a limit, not cost, sets the interval), interval_regret (planned interval or run to failure,
    over the best of these) and policy_regret (renewing the failed part alone allowed on both).
    """
    plant, route = run_clean(seed)
    decided, fitted = decide_all(*route), route[-1].table
    truth = pd.DataFrame(plant.truth["settings"]["lives"])
    rows = []
    for group, decision in zip(decided.groups, decided.decisions, strict=True):
        if decision is None:
            continue
        planned, best, alone = _costs_at_truth(group, truth, decision.advice.interval)
        chosen = alone if decision.policy == FAILED_PART else planned
        rows.append(
            {
                "seed": seed,
                "service": group.service,
                "side": group.side,
                "kit": group.kit,
                "hazard": group.hazard,
                "failures": fitted["failures"].iloc[np.unique(group.fit_rows)].sum(),
                "limited": decision.advice.binding_limit != "cost",
                "interval_regret": planned / best - 1.0,
                "policy_regret": chosen / min(best, alone) - 1.0,
            }
        )
    return pd.DataFrame(rows)


def _costs_at_truth(
    group: SideGroup, truth: pd.DataFrame, interval: float
) -> tuple[float, float, float]:
    """Cost rates at the true lives: of the interval, of the best one, of failed parts alone."""
    keyed = truth.set_index(LIFE_KEYS)
    true = [
        keyed.loc[(group.service, part, material)]
        for part, material in zip(group.part, group.material, strict=True)
    ]
    shape = np.array([[row["shape"]] for row in true])
    scale = np.array([[row["scale"]] for row in true])
    lives = LifeDraws(
        early_share=np.zeros_like(shape),
        early_scale=np.ones_like(shape),
        shape=shape,
        scale=scale,
    )
    side = SideLife(lives=lives, count=group.count)
    costs = group.costs
    known = integrate_side(side, own_times(side), nodes=6)
    at = integrate_to(side, known, np.array([interval]))
    planned = cost_rate(at, costs.planned_money, costs.failure_money)[0, 0]
    best = optimal_interval(side, costs.planned_money, costs.failure_money)[1][0]
    alone = cost_rates(costs, failed_part_rates(lives.mean(), group.count)).money[0]
    return float(planned), float(best), float(alone)


def blank_failed_parts(plant: Plant, share: float = BLANKED_SHARE) -> Plant:
    """The plant with the failed part of a share of its breakdowns written nowhere.

    Neither the ticket nor a finding names it; what was fitted and issued stays written.
    """
    rng = np.random.default_rng(plant.seed + 10_000)
    rebuilds, findings = plant.tables["rebuilds"], plant.tables["findings"]
    broken = rebuilds.loc[rebuilds["reason"] == "breakdown", "rebuild_id"].unique()
    silent = rng.choice(broken, round(share * len(broken)), replace=False)
    hit = rebuilds["rebuild_id"].isin(silent)
    words = {name: rebuilds[name].mask(hit, "") for name in ("failed_part", "failure_mode")}
    told = findings["rebuild_id"].isin(silent) & (findings["found"] == "failed")
    tables = {
        **plant.tables,
        "rebuilds": rebuilds.assign(**words),
        "findings": findings[~told].reset_index(drop=True),
    }
    return replace(plant, tables=tables)


def blank_clean(seed: int) -> pd.DataFrame:
    """Fits with a fifth of the failed parts blank beside those with all.

    Columns: the group's keys, seed, failures, failures_blank, scale_ratio (blank over whole) and
    known_ratio, the same had the shares of the breakdowns been worked out with the true hazards:
    what no way of sharing can be expected to beat.
    """
    plant, route = run_clean(seed)
    whole = route[-1].table
    lives, fits = run_route(blank_failed_parts(plant))[-2:]
    keys = [*LIFE_KEYS, "side", "variant"]
    blank = fits.table.assign(known_scale=_scales_with_known_hazards(lives, fits, plant))
    whole, blank = (
        table[(table["endpoint"] == "failed") & table["size_mm"].isna()] for table in (whole, blank)
    )
    both = whole.merge(blank, on=keys, suffixes=("", "_blank"), validate="one_to_one")
    return both[[*keys, "failures", "failures_blank"]].assign(
        seed=seed,
        scale_ratio=both["scale_blank"] / both["scale"],
        known_ratio=both["known_scale"] / both["scale"],
    )


def _scales_with_known_hazards(lives: Lives, fits: Fits, plant: Plant) -> np.ndarray:
    """Scale of each fit [h] with each unnamed failure shared by the true hazards at that age."""
    truth = pd.DataFrame(plant.truth["settings"]["lives"]).set_index(LIFE_KEYS)
    table = lives.table
    shared = (table["event"] >= 0).to_numpy()
    true = truth.loc[list(zip(*(table.loc[shared, key] for key in LIFE_KEYS), strict=True))]
    shape, scale = (true[name].to_numpy() for name in ("shape", "scale"))
    hazard = shape / scale * (table.loc[shared, "upper"].to_numpy() / scale) ** (shape - 1.0)
    total = pd.Series(hazard).groupby(table.loc[shared, "event"].to_numpy()).transform("sum")
    share = np.zeros(len(table))
    share[shared] = hazard / total.to_numpy()
    rows = fits.rows
    failing = np.isfinite(rows.upper)
    weight = np.where(failing, share[rows.life], 1.0 - share[rows.life])
    weight = np.where(shared[rows.life], weight, rows.weight)
    known = fit_weibull(rows.lower, rows.upper, rows.entry, weight, group=rows.group, bounds="wald")
    return np.asarray(known.scale)
