"""Lives drawn from known Weibulls, in those columns of the lives table that a fit reads."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from pumplife.fits.build import Fits, fit_lives
from pumplife.fits.groups import GROUP_KEYS
from pumplife.lives.build import Lives
from pumplife.records.audit import AuditLog
from pumplife.records.plant import build_plant


def drawn_lives(
    rng: np.random.Generator,
    number: int,
    *,
    shape: float = 2.5,
    scale: float = 5000.0,
    censored_at: float = 6000.0,
    **words: Any,
) -> pd.DataFrame:
    """Lives of one part from a Weibull, those that outlive `censored_at` [h] suspended there.

    `words` override columns: service, part, side, material, variant, size_mm, event.
    """
    age = scale * rng.weibull(shape, number)
    return table_of(np.minimum(age, censored_at), age <= censored_at, **words)


def table_of(age: Any, failed: Any, **words: Any) -> pd.DataFrame:
    """Lives entered at 0 with the given ages [h], exact where failed, else suspended."""
    age, failed = np.asarray(age, float), np.asarray(failed, bool)
    same = {"service": "slip", "side": "fluid", "part": "diaphragm", "material": "CR"}
    same |= {"variant": "", "size_mm": 50.0, "event": -1, "period": ""}
    table = pd.DataFrame({"lower": age, "upper": np.where(failed, age, np.inf)})
    return table.assign(
        entry=0.0,
        outcome=np.where(failed, "failed", "suspended"),
        share_failed=failed.astype(float),
        **(same | words),
    )


def fit(
    *tables: pd.DataFrame,
    seed: int = 1,
    settings: dict[str, Any] | None = None,
    pumps: pd.DataFrame | None = None,
) -> tuple[Fits, pd.DataFrame, pd.DataFrame]:
    """Fit the tables put together: the fits, the lives as settled, and the audit.

    `settings` are the sections of plant.toml; `pumps` say where fluid is hazardous.
    """
    log = AuditLog()
    raw = {"plant": {"usage_unit": "hours"}, **(settings or {})}
    nobody = pd.DataFrame({name: [] for name in ("pump_id", "service", "hazard")}, dtype=object)
    records = SimpleNamespace(
        log=log,
        plant=build_plant(raw, "plant.toml", AuditLog()),
        pumps=nobody if pumps is None else pumps,
        table=lambda name: nobody,
    )
    blank = pd.DataFrame()
    table = pd.concat(tables, ignore_index=True)
    unseen = table.loc[[], [*GROUP_KEYS, "size_mm", "event"]]
    lives = Lives(table=table, now=blank, visits=blank, unseen=unseen)
    fits, settled = fit_lives(records, lives, seed=seed)
    return fits, settled.table, log.frame()
