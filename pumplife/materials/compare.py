"""Life ratios between the materials of one part, like duty compared with like."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from pumplife.errors import NoFiniteEstimate, RecordError
from pumplife.materials.confounded import Verdict, judge_pair
from pumplife.materials.facts import duty_numbers, merge_equal
from pumplife.weibull.logrank import LogRank, compare_survival
from pumplife.weibull.regression import fit_regression
from pumplife.weibull.regression_ratio import MARKED, LifeRatio, fit_ratio
from pumplife.weibull.regression_shapes import judge_terms

CONFIDENCE = 0.90
LABELS = ["side", "part", "service", "solids", "period", "kind"]
SHAPES_FROM = 5.0  # failures of both from which it is asked whether they share a shape


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pair:
    """Two materials (or variants) of one part side by side.

    Attributes
    ----------
    service : str
        "" for all services that held both.
    side, part : str
    kind, reference : str
        Labels: material and variant. The ratio is of the kind's lives over the reference's.
    ratio : LifeRatio
        Logs of ratios.
    logrank : LogRank
    shape_p : float
        Chance of shapes so different if they are one, lives of a pump alike; NaN: not tested.
    held_equal : tuple of str
        Numeric duty held equal beside service, size, solids and period.
    verdict : Verdict
    """

    service: str
    side: str
    part: str
    kind: str
    reference: str
    ratio: LifeRatio
    logrank: LogRank
    shape_p: float
    held_equal: tuple[str, ...]
    verdict: Verdict

    def __repr__(self) -> str:
        where = self.service or "all services"
        return f"Pair({self.part}, {where}: {self.kind} against {self.reference}, {self.ratio})"


def compare_pairs(facts: pd.DataFrame) -> list[Pair]:
    """Compare every material with the most used one, part by part and service by service.

    Materials that several services held both of are compared over these as well, each service a
    stratum of its own.

    Parameters
    ----------
    facts : DataFrame
        From `gather_facts`.

    Returns
    -------
    list of Pair
        In the order of side, part, service (all services last) and material.
    """
    merged = merge_equal(facts.astype(dict.fromkeys(LABELS, "category")))
    pairs: list[Pair] = []
    for _, rows in merged.groupby(["side", "part"], observed=True, sort=True):
        used = rows.pivot_table("usage", "service", "kind", aggfunc="sum", observed=True)
        for service, by_kind in used.iterrows():
            lives, usage = rows[rows["service"] == service], by_kind.dropna()
            reference = _most_used(usage)
            others = [str(kind) for kind in usage.index if kind != reference]
            pairs += [compare_pair(lives, kind, reference, str(service)) for kind in others]
        pairs += _compare_across(rows, used)
    return pairs


def find_reference(lives: pd.DataFrame) -> str:
    """Find the material with the most usage; the first by name of equals."""
    return _most_used(lives.groupby("kind", sort=True)["usage"].sum())


def _most_used(usage: pd.Series[float]) -> str:
    """The first by name of those with the most usage; rounding of sums makes no difference."""
    return str(usage.index[usage >= (1.0 - 1e-9) * usage.max()][0])


def _compare_across(rows: pd.DataFrame, used: pd.DataFrame) -> Iterator[Pair]:
    """Compare materials over the services that held both, where there are several."""
    for one, two in combinations(map(str, used.columns), 2):
        both = used[[one, two]].dropna()
        if len(both) >= 2:
            lives = rows[rows["service"].isin(both.index)]
            reference = _most_used(both.sum())
            yield compare_pair(lives, two if reference == one else one, reference, "")


def compare_pair(lives: pd.DataFrame, kind: str, reference: str, service: str) -> Pair:
    """Compare two materials over some lives of one part.

    Parameters
    ----------
    lives : DataFrame
        Of one part, from `merge_equal`; those of other materials are left out.
    kind, reference : str
    service : str
        What to call the place; "" for all services.
    """
    lives = lives[lives["kind"].isin([kind, reference])]
    rows = lives[~lives["early"]]
    columns, told = duty_numbers(rows)
    arrays = [rows[name].to_numpy(float) for name in ("lower", "upper", "entry", "weight")]
    marks = {
        "marked": rows["kind"].eq(kind).to_numpy(),
        "stratum": rows["stratum"].to_numpy(np.int64),
        "cluster": rows["pump"].to_numpy(np.int64),
    }
    ratio = fit_ratio(*arrays, **marks, covariates=columns, confidence=CONFIDENCE)
    chosen = ratio.used if ratio.used.any() else np.ones(len(rows), dtype=bool)
    kept = [one[chosen] for one in arrays], {name: mark[chosen] for name, mark in marks.items()}
    return Pair(
        service=service,
        side=str(lives["side"].iloc[0]),
        part=str(lives["part"].iloc[0]),
        kind=kind,
        reference=reference,
        ratio=ratio,
        logrank=compare_survival(*kept[0], **kept[1]),
        shape_p=_test_shape(ratio, *kept),
        held_equal=tuple(told),
        verdict=judge_pair(lives, kind, reference),
    )


def _test_shape(ratio: LifeRatio, arrays: list[np.ndarray], marks: dict[str, np.ndarray]) -> float:
    """Chance of shapes so different if they are one; NaN where failures are too few to ask."""
    if not (ratio.failures >= SHAPES_FROM).all() or ratio.why_not:
        return np.nan
    code = np.unique(marks["stratum"], return_inverse=True)[1]
    marked = marks["marked"].astype(float)[:, None]
    strata = (code[:, None] == np.arange(1, code.max() + 1)).astype(float)
    try:
        fit = fit_regression(
            *arrays,
            covariates=np.column_stack([marked, strata]),
            names=[MARKED, *(f"stratum {place}" for place in range(1, code.max() + 1))],
            shape_covariates=marked,
            shape_names=[MARKED],
            cluster=marks["cluster"],
        )
        return judge_terms(fit, [f"log shape, {MARKED}"]).p_value
    except (NoFiniteEstimate, RecordError):
        return np.nan
