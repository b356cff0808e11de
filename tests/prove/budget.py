"""Next year's budget of invented plants, held against what that year took in truth.

Ten small plants share one works' records, each a site of its own with three services; the works run
on by their hidden lives and habits for a year, and what that took is priced as the budget is.
"""

import tempfile
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pandas as pd
from scipy import stats

from pumplife.policy.groups import SideGroup, build_groups
from pumplife.policy.simulate import PlannedAges
from pumplife.stock.budget import event_amounts, simulate_budget
from pumplife.stock.future import Practice, as_today
from tests.prove.plants import run_folder
from tests.prove.running import LATE
from tests.prove.small_works import PART_OF, PARTS, Works, make_works

FIRST_SEED = 9001
WORKS, PLANTS, SERVICES = 110, 10, 3  # plants in a works, services in a plant
REPLICATES = 1000
QUANTITIES = ("money", "breakdowns", "kits")
SLICES = (np.arange(9) + 0.5) / 9.0


def foretell_works(seed: int, *, plants: int = PLANTS) -> pd.DataFrame:
    """Next year of every plant of a works, foretold and as it came.

    Columns: seed, site, practice (known: the works' true habits; seen: as the tickets show them),
    quantity, p50, p80, p90, mean, came, failures (in the records).
    """
    works = make_works(seed, services=plants * SERVICES, more_years=1.0)
    service = works.tables["pumps"]["service"]
    sites = {name: f"site {n // SERVICES:02d}" for n, name in enumerate(sorted(service.unique()))}
    works.tables["pumps"] = works.tables["pumps"].assign(site=service.map(sites))
    with (
        tempfile.TemporaryDirectory(prefix="invented-") as folder,
        patch(
            "pumplife.fits.build.say_second_opinions"
        ),  # a check on fits that are kept as they are
    ):
        records, duty, clock, lives, fits = run_folder(works.write(Path(folder)))
    groups = [g for g in build_groups(records, duty, clock, lives, fits) if not g.missing]
    amounts = [event_amounts(group, records.plant) for group in groups]
    ways = {
        "known": [_true_habit(works, group) for group in groups],
        "seen": [as_today(group) for group in groups],
    }
    table = simulate_budget(groups, amounts, ways, replicates=REPLICATES, seed=seed)
    told = table[(table["year"] == 1) & table["quantity"].isin(QUANTITIES)]
    came = _as_it_came(works, groups, amounts, records.pumps["pump_id"].to_numpy(object))
    return told.merge(came, on=["site", "quantity"], how="inner").assign(seed=seed)


def _true_habit(works: Works, group: SideGroup) -> Practice:
    """The planned age with its spread, within each pump's limit as everywhere, and kit share."""
    row = works.services.set_index("service").loc[group.service]
    ages = float(row["planned"]) * np.exp(LATE * stats.norm.ppf(SLICES))
    planned = PlannedAges(ages=ages, weights=np.full(ages.size, 1.0 / ages.size))
    return Practice(planned=planned, kit_share=float(row["kit_share"]))


def _as_it_came(
    works: Works, groups: list[SideGroup], amounts: list, names: np.ndarray
) -> pd.DataFrame:
    rows = []
    for group, amount in zip(groups, amounts, strict=True):
        own = works.later[works.later["pump_id"].isin(names[group.pumps])]
        own = own[own["year"] <= 1.0]
        place = own["place"].to_numpy()
        part = np.array([group.part.index(PARTS[PART_OF[p]]) if p >= 0 else -1 for p in place], int)
        kind = np.where(part < 0, 0, part + 1 + np.where(own["whole"], 0, len(group.part)))
        taken = amount.takes[kind].sum(axis=0)
        money = (amount.item_money + amount.labour_money + amount.other_money)[kind].sum()
        rows.append((group.site[0], taken[0], taken[4], money, group.failures))
    table = pd.DataFrame(rows, columns=["site", "kits", "breakdowns", "money", "failures"])
    table = table.groupby("site", as_index=False).sum()
    whole = table.drop(columns="site").sum().to_frame().T.assign(site="all")
    table = pd.concat([table, whole], ignore_index=True)
    return table.melt(["site", "failures"], var_name="quantity", value_name="came")
