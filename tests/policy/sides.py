"""Small lives and readers for the tests of policy."""

import json
from pathlib import Path
from typing import Any

import numpy as np

from pumplife.policy.pump import SideLife
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
