"""The table of make-ups of a kit: what each costs, and whether it is cheaper than today's."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from pumplife.materials.compare import Pair
from pumplife.materials.confounded import YES
from pumplife.materials.money import Choice

COST_COLUMNS = [
    "service", "size_mm", "side", "hazard", "choice", "part", "material",
    "cost_per_1000", "rate_unit", "interval", "failures_per_1000", "releases_per_1000",
    "downtime_per_1000", "kit_price", "prob_cheaper", "usage_per_year", "note",
]  # fmt: skip


def price_table(
    choices: Sequence[Choice], pairs: Sequence[Pair], rate: tuple[float, str]
) -> pd.DataFrame:
    """Give one row per make-up of a kit in each place.

    Parameters
    ----------
    choices : sequence of Choice
    pairs : sequence of Pair
        A make-up has a chance of being cheaper only where all that it changes is comparable.
    rate : float and str
        Usage that costs are given per, and its words.

    Returns
    -------
    DataFrame
        `COST_COLUMNS`.
    """
    factor, unit = rate
    bases: dict[int, Choice] = {}
    by_place = {(p.service, p.side, p.part, p.kind): p for p in pairs if p.service}
    rows = []
    for choice in choices:
        base, group = bases.setdefault(id(choice.place), choice), choice.place.group
        changed = [at for at, kind in enumerate(choice.kinds) if kind != base.kinds[at]]
        part = group.part[changed[0]] if len(changed) == 1 else ""
        named = zip(group.part, choice.kinds, strict=True)
        doubts = list(_doubt(choice, base, by_place))
        rows.append(
            {
                "service": group.service,
                "size_mm": group.size_mm,
                "side": group.side,
                "hazard": group.hazard,
                "choice": ", ".join(f"{one} {kind}".strip() for one, kind in named),
                "part": part,
                "material": choice.kinds[changed[0]] if part else "",
                "cost_per_1000": factor * float(choice.cost.mean()),
                "rate_unit": unit,
                "interval": choice.interval if np.isfinite(choice.interval) else np.nan,
                "failures_per_1000": factor * choice.failures,
                "releases_per_1000": factor * choice.releases,
                "downtime_per_1000": factor * choice.downtime_h,
                "kit_price": choice.kit_price,
                "prob_cheaper": float(np.mean(choice.cost < base.cost))
                if changed and not doubts
                else np.nan,
                "usage_per_year": choice.place.usage,
                "note": "; ".join([*_say_choice(choice, base), *doubts]),
            }
        )
    return pd.DataFrame(rows, columns=COST_COLUMNS)


def _say_choice(choice: Choice, base: Choice) -> Iterator[str]:
    """What a make-up is: the reference, in use already, or only thought of."""
    if choice is base:
        yield "the most used material of each part"
    yield "a kit in use" if choice.kinds in choice.place.fitted else "not a kit in use"


def _doubt(
    choice: Choice, base: Choice, pairs: dict[tuple[str, str, str, str], Pair]
) -> Iterator[str]:
    """Why no chance of being cheaper is given, part by part that isn't as in the base."""
    group = choice.place.group
    for part, kind, usual in zip(group.part, choice.kinds, base.kinds, strict=True):
        if kind == usual:
            continue
        pair = pairs.get((group.service, group.side, part, kind))
        if pair is None or pair.reference != usual:
            yield f"{part}: {kind} was never compared with {usual} here"
        elif pair.verdict.comparable != YES:
            yield f"{part}: no chance of being cheaper, {pair.verdict.reason}"
