"""Parts looked at when a pump is open, renewed where they must be: mufflers and outer plates."""

import numpy as np
import pandas as pd

from .catalogue import PREFIX, SIZES
from .fleet import STORES

# share of openings of their side with a kit that take one, and the kit's prefix
TRUE_SHARES = {
    "muffler": ("AK", {"breakdown": 0.30, "planned": 0.15}),
    "outer plate": ("FK", {"breakdown": 0.12, "planned": 0.05}),
}
MOST = {"muffler": 1, "outer plate": 2}  # pieces taken at once
IN_STORE = ("main store", "glaze store")


def issue_looked_at(
    issued: pd.DataFrame, rebuilds: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """The issues with those of these parts behind them, on orders that have an issue already."""
    fitted = rebuilds[rebuilds.kit.str.contains("K-") & rebuilds.rebuild_id.isin(issued.rebuild_id)]
    taken = [_taken(fitted, part, rng) for part in TRUE_SHARES]
    columns = ["issued_on", "item", "quantity", "rebuild_id", "pump_id", "store"]
    return pd.concat([issued, *(rows[columns] for rows in taken)], ignore_index=True)


def _taken(fitted: pd.DataFrame, part: str, rng: np.random.Generator) -> pd.DataFrame:
    prefix, shares = TRUE_SHARES[part]
    mine = fitted[fitted.kit.str.startswith(prefix) & fitted.reason.isin(list(shares))]
    mine = mine.drop_duplicates("rebuild_id")
    mine = mine[rng.random(len(mine)) < mine.reason.map(shares).to_numpy(float)]
    return mine.assign(
        issued_on=mine.opened_on,
        item=f"{PREFIX[part]}-" + mine.size_mm.astype(str),
        quantity=rng.integers(1, MOST[part] + 1, len(mine)),
        store=mine.site.map(STORES),
    )


def shelve_looked_at(on_hand: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """The shelves with a few of these parts behind the others."""
    rows = pd.DataFrame(
        [(s, f"{PREFIX[p]}-{n}") for s in IN_STORE for p in TRUE_SHARES for n in SIZES],
        columns=["store", "item"],
    )
    rows["quantity"] = rng.integers(0, 4, len(rows))
    return pd.concat([on_hand, rows[rows.quantity > 0].assign(cure_date="")], ignore_index=True)
