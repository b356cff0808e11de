"""Invented fleets whose pumps, positions, years, lots and events are alike, or not, by design."""

from typing import Any

import numpy as np
import pandas as pd

from pumplife.fits.build import Fits
from pumplife.fits.groups import GROUP_KEYS, plain_rows
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.estimate import fit_weibull

SCALE = 4000.0  # [h], of a part; a pump runs 10 h a day
HOURS_A_DAY = 10.0
FIRST_DAY = np.datetime64("2015-01-01")


def run_fleets(
    seed: int,
    fleets: int,
    pumps: int,
    *,
    years: float,
    shape: float = 2.5,
    planned: float = 5000.0,
    hazard: Any = 1.0,
    suction: float = 1.0,
    life_a_year: float = 1.0,
    since: tuple[float, float] = (np.inf, 1.0),
) -> pd.DataFrame:
    """Lives of four positions of one part on every pump of many fleets, renewed together.

    All four are renewed when one fails, or at `planned` hours; every pump is new at the start.

    Parameters
    ----------
    seed, fleets, pumps : int
    years : float
        Length of the records [years].
    shape : float
    planned : float
        Age at which the kit is renewed anyway [h].
    hazard : float or array (fleets, pumps)
        Of each pump, times that of its peers.
    suction : float
        Life of the suction positions, times that of the others.
    life_a_year : float
        Life of a part fitted a year later, times.
    since : (year, factor)
        From then on parts age so much more slowly: life, times.

    Returns
    -------
    DataFrame
        Columns of the lives table; each fleet is a service of its own.
    """
    rng = np.random.default_rng(seed)
    factor = np.broadcast_to(np.asarray(hazard, float), (fleets, pumps)).reshape(-1)
    own = SCALE * factor ** (-1.0 / shape)
    kind = np.array([suction, suction, 1.0, 1.0])
    horizon = years * 365.25 * HOURS_A_DAY
    clock, found = np.zeros(len(own)), []
    running = np.arange(len(own))
    while len(running):
        start = clock[running]
        drawn = own[running, None] * kind * rng.weibull(shape, (len(running), 4))
        drawn *= (life_a_year ** (start / 365.25 / HOURS_A_DAY))[:, None]
        change = since[0] * 365.25 * HOURS_A_DAY - start
        spared = np.maximum(drawn - np.maximum(change, 0.0)[:, None], 0.0)
        drawn = drawn + spared * (since[1] - 1.0)
        stop = np.minimum(np.minimum(drawn.min(axis=1), planned), horizon - start)
        found.append((running, start, stop, drawn <= stop[:, None]))
        clock[running] = start + stop
        running = running[clock[running] < horizon - 1e-6]
    pump, start, stop, failed = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return _as_lives(pump, start, stop, failed, pumps)


def _as_lives(
    pump: np.ndarray, start: np.ndarray, stop: np.ndarray, failed: np.ndarray, pumps: int
) -> pd.DataFrame:
    position = ("suction_left", "suction_right", "discharge_left", "discharge_right")
    row = np.repeat(np.arange(len(pump)), 4)
    dead = failed.reshape(-1)
    day = [FIRST_DAY + (hours / HOURS_A_DAY).astype("timedelta64[D]") for hours in
           (start, start + stop)]  # fmt: skip
    return pd.DataFrame(
        {
            "pump": pump[row],
            "service": [f"fleet {number:04d}" for number in (pump // pumps)[row]],
            "side": "fluid", "part": "ball", "material": "CR", "variant": "", "period": "",
            "size_mm": 50.0, "site": "works", "position": np.tile(position, len(pump)),
            "start_on": day[0][row], "end_on": day[1][row],
            "entry": 0.0, "lower": stop[row], "upper": np.where(dead, stop[row], np.inf),
            "outcome": np.where(dead, "failed", "suspended"),
            "mode": "", "lot": "", "crew": "", "shock": "", "endpoint": "", "event": -1,
            "share_failed": dead.astype(float),
        }
    )  # fmt: skip


def fit_plainly(lives: pd.DataFrame) -> Fits:
    """A plain Weibull per service, part and material, in the columns that comparisons read."""
    keys = [*GROUP_KEYS]
    group = np.asarray(lives.groupby(keys, sort=True).ngroup(), dtype=np.int64)
    rows = plain_rows(lives, group)
    fit = fit_weibull(rows.lower, rows.upper, rows.entry, group=group, bounds="wald")
    table = lives[keys].drop_duplicates().sort_values(keys).reset_index(drop=True)
    table = table.assign(
        endpoint="failed", mode="", size_mm=np.nan, shape=fit.shape, scale=fit.scale,
        likely_shape=fit.shape, likely_scale=fit.scale, early_share=0.0, early_scale=np.nan,
    )  # fmt: skip
    one = np.ones((len(table), 1))
    draws = LifeDraws(early_share=0.0 * one, early_scale=one, shape=one, scale=one)
    return Fits(table=table, draws=draws, alone=draws, rows=rows, taken=rows)


def lots_of(
    seed: int, studies: int, *, lots: int = 20, each: int = 12, bad: float = 0.0, every: float = 0.0
) -> pd.DataFrame:
    """Lives of one part by lot, a study a side: one lot of each early by `bad`, all by `every`.

    Early lives have a mean of a hundredth of the scale; kits are renewed at 5000 h.
    """
    rng = np.random.default_rng(seed)
    shape = (studies, lots, each)
    life = SCALE * rng.weibull(2.5, shape)
    share = np.full((1, lots, 1), every)
    share[0, 0, 0] = max(bad, every)
    early = rng.random(shape) < share
    life = np.where(early, rng.exponential(SCALE / 100.0, shape), life).reshape(-1)
    study, lot, number = (part.reshape(-1) for part in np.indices(shape))
    stop = np.minimum(life, 5000.0)
    failed = life <= 5000.0
    return pd.DataFrame(
        {
            "pump": lot * each + number,
            "service": [f"study {one:04d}" for one in study],
            "side": [f"fluid {one:04d}" for one in study],
            "part": "diaphragm", "material": "CR", "variant": "", "period": "", "size_mm": 50.0,
            "start_on": FIRST_DAY, "entry": 0.0, "lower": stop,
            "upper": np.where(failed, stop, np.inf),
            "outcome": np.where(failed, "failed", "suspended"), "event": -1,
            "share_failed": failed.astype(float), "mode": "",
            "lot": [f"L{one:02d}" for one in lot],
        }
    )  # fmt: skip
