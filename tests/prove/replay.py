"""Stock levels advised from raw tickets, played against futures drawn from the hidden truth.

Every function here takes seeds and gives frames with one row per item, or judges them.
"""

import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from pumplife.policy.advice import Advice, advise
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.stock.asked import count_futures
from pumplife.stock.demand import simulate_futures
from pumplife.stock.future import advised_groups, follow
from pumplife.stock.least_cost import assess_demand
from pumplife.stock.level import assess_levels, poisson_pmf, reorder_point
from pumplife.stock.looks import QUARTER_DAYS
from pumplife.stock.shelf import plan_stock
from pumplife.weibull.draws import LifeDraws
from tests.prove import judge
from tests.prove.plants import LIFE_KEYS, run_folder
from tests.prove.small_works import Works, make_works
from tests.prove.store_play import Played, ask, draw_leads, play

FIRST_SEED = 7001
WORKS, FUTURES, REPLICATES = 8, 10_000, 20_000
TARGET, SLACK, MOST_CAPITAL = 0.95, 0.02, 1.10
REVIEW = 30
MANY = 20.0  # failures behind an item from which its lives are well known
FEWEST = 2000.0  # breakdowns in all futures from which a share met is known to half a point
LEADS = (14.0, 28.0, 42.0, 63.0, 90.0)  # [days]
Found = Iterator[tuple[judge.Result, int]]


def stock_works(seed: int, *, services: int = 10) -> Works:
    """Invented works whose kits and parts have lead times and least orders."""
    works = make_works(seed, services=services)
    rng = np.random.default_rng([seed, 1])
    tables = dict(works.tables)
    for name in ("kits", "parts"):
        rows = len(tables[name])
        usual = rng.choice(LEADS, rows)
        tables[name] = tables[name].assign(
            lead_time_days=usual,
            lead_time_high=np.where(rng.random(rows) < 0.5, np.round(1.6 * usual), usual),
            min_order=rng.choice([1, 1, 1, 2], rows)
            if name == "kits"
            else rng.choice([1, 4], rows),
        )
    return replace(works, tables=tables)


def score_stock(
    seed: int, *, services: int = 10, futures: int = FUTURES, replicates: int = REPLICATES
) -> pd.DataFrame:
    """How advised levels serve the futures of invented works, per store and item.

    They are played against `futures`; with the true lives levels come of `replicates`, which are
    others.

    Columns: seed, store, item, kind, failures (behind the fits of its pumps), demands (breakdowns
    played), planned_share (of what it is asked for), unit_cost, sure (its
    lead time never varies), and for each of the levels advised,
    known (by the same rules with the true lives), best (found by search), mean_lead (last year's
    mean x lead time x 1.5) and poisson (Poisson on last year's mean): *_point, *_fill, *_shelf
    [items], *_less (fill with one piece less) and *_error (its standard error).
    """
    works = stock_works(seed, services=services)
    with tempfile.TemporaryDirectory(prefix="invented-") as folder:
        records, duty, clock, lives, fits = run_folder(works.write(Path(folder)))
    advice = advise(records, duty, clock, lives, fits)
    stock = plan_stock(records, lives, advice).stock
    stock = stock[stock["reorder_point"].notna()].reset_index(drop=True)
    groups, practices = _true_groups(works, advice), follow(advice)
    terms = stock.assign(
        quantity=stock["order_up_to"] - stock["reorder_point"],
        lead=stock["lead_time_days"],
        lead_high=[_lead_high(works, item) for item in stock["item"]],
    )
    keys = [(row["store"], row["item"]) for row in terms.to_dict("records")]
    ahead = dict(zip(keys, terms[["lead", "lead_high"]].max(axis=1) + REVIEW, strict=True))
    order = [keys.index(key) for key in sorted(ahead)]
    terms = terms.iloc[order].reset_index(drop=True)
    takes, watch = draw_leads(terms, futures, seed=seed + 1), int(QUARTER_DAYS) + REVIEW
    days = int(takes.max()) + watch
    asked = ask(groups, practices, ahead, days=days, futures=futures, seed=seed)
    quantity = terms["quantity"].to_numpy(int)
    played = play(asked, quantity, takes, review=REVIEW, watch=watch, seed=seed + 2)
    demand = simulate_futures(
        groups,
        practices,
        {row["item"]: (row["lead"], row["lead_high"]) for row in terms.to_dict("records")},
        review_days=float(REVIEW),
        replicates=replicates,
        seed=1,
    )
    shelves = {(one.store, one.item): one for one in count_futures(demand)}
    known = [
        reorder_point(assess_demand(shelves[key], int(quantity)), TARGET)
        for key, quantity in zip(sorted(ahead), terms["quantity"], strict=True)
    ]
    total = asked.planned.sum(axis=(0, 2)) + asked.breakdowns.sum(axis=(0, 2))
    unit = dict(zip(works.tables["kits"]["kit"], works.tables["kits"]["unit_cost"], strict=True))
    unit |= dict(
        zip(works.tables["parts"]["part_no"], works.tables["parts"]["unit_cost"], strict=True)
    )
    points = {
        "advised": terms["reorder_point"].to_numpy(int),
        "known": np.array(known),
        "best": _search(played),
        **_naive(works, terms),
    }
    table = terms[["store", "item", "kind"]].assign(
        seed=seed,
        failures=[_failures(groups, key) for key in sorted(ahead)],
        demands=played.demands,
        planned_share=asked.planned.sum(axis=(0, 2)) / np.maximum(total, 1),
        unit_cost=terms["item"].map(unit),
        sure=(terms["lead_high"] <= terms["lead"]),
    )
    return table.assign(**_serve(played, points))


def _lead_high(works: Works, item: str) -> float:
    for table, name in (("kits", "kit"), ("parts", "part_no")):
        rows = works.tables[table]
        mine = rows[rows[name] == item]
        if len(mine):
            return float(mine["lead_time_high"].iloc[0])
    raise KeyError(item)


def _true_groups(works: Works, advice: Advice) -> list[SideGroup]:
    """The groups of the advice as they stand, living by the true lives."""
    lives = works.lives.set_index(LIFE_KEYS)
    names = ("early_share", "early_scale", "shape", "scale")
    found = []
    for group in advised_groups(advice):
        true = [
            lives.loc[(group.service, part, material)]
            for part, material in zip(group.part, group.material, strict=True)
        ]
        drawn = {name: np.array([[row[name]] for row in true], float) for name in names}
        found.append(replace(group, lives=LifeDraws(**drawn)))
    return found


def _failures(groups: list[SideGroup], key: tuple[str, str]) -> float:
    """The fewest failures behind the fits of a group that draws on the item."""
    store, item = key
    mine = [g.failures for g in groups if item in (g.kit, *g.part_no) and store in set(g.store)]
    return float(min(mine, default=0.0))


def _search(played: Played) -> np.ndarray:
    """The smallest reorder point of at least 0 that meets the target in these futures."""
    enough = played.fill[1:] >= TARGET
    return np.where(np.isnan(played.fill[0]), 0, np.argmax(enough, axis=0))


def _naive(works: Works, terms: pd.DataFrame) -> dict[str, np.ndarray]:
    """Levels by rule of thumb from the pieces issued in the last twelve months."""
    issued = works.tables["issued"]
    on = pd.to_datetime(issued["issued_on"])
    last = pd.to_datetime(works.tables["readings"]["read_on"]).max()
    recent = issued[on > last - pd.Timedelta(days=365)]
    used = recent.groupby("item")["quantity"].sum().reindex(terms["item"]).fillna(0.0).to_numpy()
    lead = terms["lead"].to_numpy()
    poisson = [
        _poisson_point(mean / DAYS_PER_YEAR, days, int(quantity))
        for mean, days, quantity in zip(used, lead, terms["quantity"], strict=True)
    ]
    return {
        "mean_lead": np.ceil(used * lead / DAYS_PER_YEAR * 1.5).astype(int),
        "poisson": np.array(poisson, int),
    }


def _poisson_point(a_day: float, lead: float, quantity: int) -> int:
    """Reorder point that meets the target for Poisson demand of so many items a day."""
    days = lead + REVIEW * np.array([0.0, 0.5, 1.0])
    first, half, whole = (poisson_pmf(max(a_day, 1e-9) * one) for one in days)
    return reorder_point(assess_levels(first, (half, whole), quantity=quantity), TARGET)


def _serve(played: Played, points: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    most = played.fill.shape[0] - 2
    column = np.arange(played.fill.shape[1])
    found = {}
    for name, point in points.items():
        row = np.clip(point, 0, most) + 1
        found |= {
            f"{name}_point": point,
            f"{name}_fill": played.fill[row, column],
            f"{name}_less": played.fill[row - 1, column],
            f"{name}_error": played.error[row - 1, column],
            f"{name}_shelf": played.shelf[row, column],
        }
    return found


def judge_levels(items: pd.DataFrame, fewest: float = FEWEST) -> Iterator[judge.Result]:
    """Whether levels keep their promise, at which capital, and whether a piece less breaks it."""
    items = items[items["demands"] >= fewest]
    many = items[items["failures"] >= MANY]
    for name, words, rows, asked in (
        ("known", "lives known", items, True),
        ("known", "lives known, lead time sure", items[items["sure"]], False),
        ("known", "lives known, lead time by chance", items[~items["sure"]], False),
        ("advised", "from raw tickets, 20 failures or more", many, True),
        ("advised", "from raw tickets, all items", items, False),
        ("mean_lead", "last year's mean x lead time x 1.5", items, False),
        ("poisson", "Poisson on last year's mean", items, False),
    ):
        held = (rows[f"{name}_fill"] >= TARGET - SLACK).mean()
        check = f"stock, {words}: items that meet 93 % or more of breakdowns from the shelf"
        yield _say(check, float(held), len(rows), (1.0, 1.0) if asked else None)
        weight = rows["demands"] / rows["demands"].sum()
        met = float((weight * rows[f"{name}_fill"]).sum())
        yield judge.tell(f"stock, {words}: of all breakdowns, met from the shelf", met, len(rows))
        least = float(rows[f"{name}_fill"].min())
        yield judge.tell(f"stock, {words}: least item", least, len(rows))
        spent = (rows["unit_cost"] * rows[f"{name}_shelf"]).sum()
        best = (rows["unit_cost"] * rows["best_shelf"]).sum()
        check = f"stock, {words}: capital over that of the best levels"
        yield _say(check, float(spent / best), len(rows), (0.0, MOST_CAPITAL) if asked else None)
        broken = (rows[f"{name}_less"] < TARGET + 2.0 * rows[f"{name}_error"]).mean()
        check = f"stock, {words}: items whose target a piece less breaks, within two errors"
        yield _say(check, float(broken), len(rows), (1.0, 1.0) if asked else None)
    # doubt about lives asks for a piece more here and there: how far from what is right
    off = (many["advised_point"] - many["known_point"]).abs()
    check = "stock, from raw tickets, 20 failures or more: items within a piece of the lives known"
    yield judge.within(check, float((off <= 1).mean()), len(many), 1.0, 1.0)
    check = "stock, from raw tickets, 20 failures or more: items kept as with the lives known"
    yield judge.tell(check, float((off == 0).mean()), len(many))


def _say(check: str, value: float, of: int, asked: tuple[float, float] | None) -> judge.Result:
    if asked is None:
        return judge.tell(check, value, of)
    return judge.within(check, value, of, *asked)


def prove(scale: float) -> Found:
    """Advised levels against futures drawn from the truth."""
    works = max(2, round(scale * WORKS))
    with ProcessPoolExecutor(2) as pool:
        seeds = range(FIRST_SEED, FIRST_SEED + works)
        items = pd.concat(pool.map(score_stock, seeds), ignore_index=True)
    for result in judge_levels(items):
        yield result, works
