"""Next year's budget of invented plants, held against what that year took in truth.

Ten small plants share one works' records, each a site of its own with three services; the works run
on by their hidden lives and habits for a year, and what that took is priced as the budget is.
"""

import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

from pumplife.policy.groups import SideGroup, build_groups
from pumplife.policy.simulate import PlannedAges
from pumplife.stock.amounts import AMOUNTS, EventAmounts, event_amounts
from pumplife.stock.budget import simulate_budget
from pumplife.stock.future import Practice, as_today
from tests.prove import judge
from tests.prove.plants import run_folder
from tests.prove.running import LATE
from tests.prove.small_works import PART_OF, PARTS, Works, make_works

FIRST_SEED = 9001
WORKS, PLANTS, SERVICES = 100, 10, 3  # plants in a works, services in a plant
REPLICATES = 1000
QUANTITIES = ("money", "breakdowns", "kits")
SLICES = (np.arange(9) + 0.5) / 9.0
KNOWN, SEEN = "habits known", "habits as the tickets show them"
BANDS = ((0.0, 40.0, "fewer than 40"), (40.0, 100.0, "40 to 99"), (100.0, np.inf, "100 or more"))


def foretell_works(seed: int, *, plants: int = PLANTS) -> pd.DataFrame:
    """Next year of every plant of a works, foretold and as it came.

    Columns: seed, site ("all" for the works), scenario (`KNOWN`: the works' true habits; `SEEN`),
    quantity, p50, p80, p90, mean, came, failures (of the parts behind the fits of its groups).
    """
    works = make_works(seed, services=plants * SERVICES, more_years=1.0)
    service = works.tables["pumps"]["service"]
    sites = {name: f"site {n // SERVICES:02d}" for n, name in enumerate(sorted(service.unique()))}
    works.tables["pumps"] = works.tables["pumps"].assign(site=service.map(sites))
    with tempfile.TemporaryDirectory(prefix="invented-") as folder:
        records, duty, clock, lives, fits = run_folder(works.write(Path(folder)))
    groups = [g for g in build_groups(records, duty, clock, lives, fits) if not g.missing]
    amounts = [event_amounts(group, records.plant) for group in groups]
    ways = {
        KNOWN: [_true_habit(works, group) for group in groups],
        SEEN: [as_today(group) for group in groups],
    }
    table = simulate_budget(groups, amounts, ways, replicates=REPLICATES, seed=seed)
    told = table[(table["year"] == 1) & table["quantity"].isin(QUANTITIES)]
    names = records.pumps["pump_id"].to_numpy(object)
    came = _as_it_came(works, groups, amounts, names)
    return told.merge(came, on=["site", "quantity"], how="inner").assign(seed=seed)


def _true_habit(works: Works, group: SideGroup) -> Practice:
    """The planned age with its spread, and the share of failures at which the kit is fitted."""
    row = works.services.set_index("service").loc[group.service]
    ages = float(row["planned"]) * np.exp(LATE * stats.norm.ppf(SLICES))
    planned = PlannedAges(ages=ages, weights=np.full(ages.size, 1.0 / ages.size))
    return Practice(planned=planned, kit_share=float(row["kit_share"]))


def _as_it_came(
    works: Works, groups: Sequence[SideGroup], amounts: Sequence[EventAmounts], names: np.ndarray
) -> pd.DataFrame:
    """What the year after the records took, by site and quantity."""
    rows = []
    for group, amount in zip(groups, amounts, strict=True):
        own = works.later[works.later["pump_id"].isin(names[group.pumps])]
        own = own[own["year"] <= 1.0]
        part_of_place = np.array([group.part.index(part) for part in PARTS])[PART_OF]
        failed = own["place"].to_numpy() >= 0
        part = part_of_place[np.maximum(own["place"].to_numpy(), 0)]
        alone = np.where(own["whole"], 0, len(group.part))
        kind = np.where(failed, part + 1 + alone, 0)
        taken = dict(zip(AMOUNTS, amount.takes[kind].sum(axis=0), strict=True))
        money = (
            amount.kit_money + amount.part_money + amount.labour_money + amount.downtime_money
            + amount.other_money
        )  # fmt: skip
        taken |= {"money": float(money[kind].sum()), "failures": group.failures}
        rows.append({"site": group.site[0], **taken})
    table = pd.DataFrame(rows)[["site", "failures", *QUANTITIES]]
    table = table.groupby("site", as_index=False).sum()
    whole = table.drop(columns="site").sum().to_frame().T.assign(site="all")
    table = pd.concat([table, whole], ignore_index=True)
    return table.melt(["site", "failures"], var_name="quantity", value_name="came")


def judge_budget(told: pd.DataFrame) -> Iterator[judge.Result]:
    """How often the year stays under its percentiles, and where it lies in the mean."""
    plants = told[told["site"] != "all"]
    for habits in (KNOWN, SEEN):
        money = plants[(plants["scenario"] == habits) & (plants["quantity"] == "money")]
        words = f"budget, {habits}: money of the next year"
        count = len(money)
        for name, low, high in (("p80", 0.75, 0.85), ("p90", 0.86, 0.94)):
            share = float((money["came"] <= money[name]).mean())
            yield judge.within(f"{words} at most its {name.upper()}", share, count, low, high)
            for least, most, band in BANDS:
                own = money[money["failures"].between(least, most, inclusive="left")]
                under = float((own["came"] <= own[name]).mean())
                check = f"{words} at most its {name.upper()}, {band} failures behind it"
                yield judge.tell(check, under, len(own))
        ratio = float(money["came"].sum() / money["mean"].sum())
        yield judge.tell(f"{words} over the mean foretold, all plants", ratio, count)
        for quantity in ("breakdowns", "kits"):
            own = plants[(plants["scenario"] == habits) & (plants["quantity"] == quantity)]
            for name in ("p80", "p90"):
                share = float((own["came"] <= own[name]).mean())
                check = f"budget, {habits}: {quantity} at most their {name.upper()}"
                yield judge.tell(check, share, len(own))
    whole = told[(told["site"] == "all") & (told["quantity"] == "money")]
    for name in ("p80", "p90"):
        own = whole[whole["scenario"] == KNOWN]
        share = float((own["came"] <= own[name]).mean())
        check = f"budget, {KNOWN}: money of all plants of a works at most its {name.upper()}"
        yield judge.tell(check, share, len(own))


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Coverage of the budget's percentiles over plants whose next year is known."""
    works = max(3, round(scale * WORKS))
    with ProcessPoolExecutor(2) as pool:
        found = pool.map(foretell_works, range(FIRST_SEED, FIRST_SEED + works))
        told = pd.concat(found, ignore_index=True)
    for result in judge_budget(told):
        yield result, works
