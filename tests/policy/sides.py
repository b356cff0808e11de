"""Small lives and readers for the tests of policy."""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from pumplife.lives.build import build_lives
from pumplife.policy.pump import SideLife
from pumplife.records.duty import build_duty
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock
from pumplife.weibull.draws import LifeDraws

REFERENCE = Path(__file__).parents[1] / "reference"


def read_reference(name: str) -> Any:
    return json.loads((REFERENCE / name).read_text(encoding="utf-8"))


def published(check: str) -> Any:
    checks = read_reference("published_policy.json")["checks"]
    return next(entry for entry in checks if entry["id"] == check)


def draws(shape: Any, scale: Any, share: Any = 0.0, tau: Any = 1.0) -> LifeDraws:
    """Lives (parts, draws); a single number serves all."""
    shape, scale, share, tau = np.broadcast_arrays(
        *(np.asarray(value, float) for value in (shape, scale, share, tau))
    )
    return LifeDraws(
        early_share=share.copy(), early_scale=tau.copy(), shape=shape.copy(), scale=scale.copy()
    )


def one_part(shape: float, scale: float) -> SideLife:
    return SideLife(lives=draws([[shape]], [[scale]]), count=np.ones(1))


def random_draws(rng: np.random.Generator, parts: int = 3, count: int = 200) -> LifeDraws:
    shape = rng.lognormal(np.log(2.3), 0.2, (parts, count))
    scale = rng.uniform(8.0, 30.0, (parts, 1)) * rng.lognormal(0.0, 0.15, (parts, count))
    return draws(shape, scale)


def fits_of(lives: LifeDraws, rows: list[dict[str, Any]]) -> Any:
    """Fits as the advice sees them: a table, draws, and a way to find a row."""
    table = pd.DataFrame(rows)

    def find(*key: Any, endpoint: str = "failed") -> int:
        service, _, part, material, _ = key
        same = (table["service"] == service) & (table["part"] == part)
        same &= (table["material"] == material) & (table["endpoint"] == endpoint)
        return int([*np.flatnonzero(same), -1][0])

    return SimpleNamespace(table=table, draws=lives, alone=lives, find=find)


def slip_fits(**changes: Any) -> Any:
    """Known lives of the three parts of the small plant, one draw."""
    fields = {
        "shape": [[2.5], [2.6], [2.4]],
        "scale": [[6000.0], [9000.0], [12000.0]],
        "share": 0.0,
        "tau": 100.0,
    }
    rows = [
        {
            "service": "slip",
            "part": part,
            "material": "CR",
            "endpoint": "failed",
            "mode": "",
            "period": "",
            "failures": 12.0,
            "evidence": "usable",
            "standing": "enough to decide",
            "borrowed_share": 0.0,
            "longest_life": 8000.0,
        }
        for part in ("diaphragm", "ball", "seat")
    ]
    return fits_of(draws(**(fields | changes)), rows)


def study_parts(folder: Path) -> tuple[Any, Any, Any, Any]:
    """Records, duty, clock and lives of a plant folder."""
    records = read_records(folder)
    duty = build_duty(records)
    clock = build_clock(records, duty)
    return records, duty, clock, build_lives(records, duty, clock)
