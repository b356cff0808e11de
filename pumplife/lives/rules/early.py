"""Rules over early failures: do they cluster on one lot, crew or spell of time?"""

import numpy as np
import pandas as pd
from scipy.special import betainc

from pumplife.lives.rules.rule import tell
from pumplife.lives.rules.story import SILENT, Story

EARLY = 0.1
"""A failure before this share of the part's usual time between failures is early [1]."""
CLUSTER = 3
"""Fewer early failures than this make no cluster."""
BY_CHANCE = 1e-4
"""A cluster that chance would make more often than this isn't told [1]."""


def find_early_clusters(story: Story) -> pd.DataFrame:
    """Lots, crews and half-years of a site whose fittings fail early more often than the rest."""
    fits = _fits(story)
    if fits["early"].sum() < CLUSTER:
        return tell(fits[:0], "rebuilds", [])
    told = [_clusters(fits, name, words) for name, words in _GROUPS]
    return pd.concat(told, ignore_index=True)


_GROUPS = (("lot", "lot"), ("crew", "crew"), ("spell", "half-year and site"))


def _fits(story: Story) -> pd.DataFrame:
    """Kits fitted, and whether a breakdown of that side came early after: one row each."""
    orders = story.orders
    kits = story.tickets[~story.tickets["kit"].isin(SILENT) & story.tickets["done"].ne("no")]
    kits = kits[kits["kit_side"].ne("")]
    broke = orders[orders["reason"].eq("breakdown") & orders["side"].ne("")]
    broke = broke[["pump", "side", "day", "rebuild_id"]].assign(broke_on=broke["day"])
    left = kits[["row", "pump", "pump_id", "kit_side", "day", "lot", "crew", "rebuild_id", "place"]]
    left = left.rename(columns={"kit_side": "side"})
    next_one = pd.merge_asof(
        left.sort_values("day", kind="stable"),
        broke.rename(columns={"rebuild_id": "broke"}).sort_values("day", kind="stable"),
        on="day",
        by=["pump", "side"],
        direction="forward",
        allow_exact_matches=False,
    )
    life = next_one["broke_on"] - next_one["day"]
    usual = life.groupby(next_one["side"]).transform("median")
    site, sites = pd.factorize(orders["site"])
    half = (next_one["day"] // 182.625).to_numpy(np.int64)
    spell, spells = pd.factorize(half * len(sites) + site[next_one["place"].to_numpy(np.int64)])
    words = [f"{number // len(sites)} of {sites[number % len(sites)]}" for number in spells]
    return next_one.assign(early=(life < EARLY * usual), spell=np.array(words, dtype=object)[spell])


def _clusters(fits: pd.DataFrame, name: str, words: str) -> pd.DataFrame:
    """The groups of a column whose early share stands out, each at its last early fitting."""
    known = fits[fits[name].ne("")]
    grouped = known.groupby([name, "side"])["early"].agg(["sum", "size"]).reset_index()
    rest_early = known.groupby("side")["early"].sum().reindex(grouped["side"]).to_numpy()
    rest_size = known.groupby("side").size().reindex(grouped["side"]).to_numpy()
    early, size = grouped["sum"].to_numpy(float), grouped["size"].to_numpy(float)
    share = np.minimum((rest_early - early + 0.5) / (rest_size - size + 1.0), 1.0)
    # at least `early` of `size` at that share: the binomial's upper tail
    tail = betainc(np.maximum(early, 1.0), size - np.maximum(early, 1.0) + 1.0, share)
    chance = np.where(early > 0, tail, 1.0)
    seen = (early >= CLUSTER) & (chance * max(len(grouped), 1) < BY_CHANCE)
    out = grouped[seen].assign(share=share[seen])
    rows = known[known["early"]].merge(out, on=[name, "side"])
    last = rows.drop_duplicates([name, "side"], keep="last")
    what = [
        f"{words} {group}: {count:.0f} of {whole:.0f} {side} kits failed early; of the others "
        f"{part:.1%} did."
        for group, count, whole, side, part in last[
            [name, "sum", "size", "side", "share"]
        ].itertuples(index=False)
    ]
    return tell(last, "rebuilds", what)
