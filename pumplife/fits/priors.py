"""What is assumed about wear before the plant's own failures speak: visible, and few."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.records.read import Records

Floats = NDArray[np.float64]

# Median shape and spread (standard deviation of log shape) per kind of part, common practice:
# wear of diaphragms, balls and seats between about 1.2 and 4 in nine cases of ten, air valves
# nearer to 1 because dirt and water in the air supply strike at any age. A plant changes them in
# plant.toml, [prior.diaphragm] and the like.
SHAPE_PRIORS: tuple[tuple[str, str, float, float], ...] = (
    # side, word in the part's name, median shape [-], spread [-]
    ("air", "valve", 1.4, 0.35),
    ("air", "", 1.8, 0.35),
    ("fluid", "", 2.2, 0.37),
)
Given = Mapping[str, Mapping[str, float]]


def shape_prior(groups: pd.DataFrame, given: Given) -> tuple[Floats, Floats]:
    """Median shape and spread of log shape for each group [-].

    Parameters
    ----------
    groups : DataFrame
        [side, part].
    given : mapping of part to shape and spread
        The plant's own; what it doesn't give is usual for the side and part.
    """
    own = {_plain(part): values for part, values in given.items()}
    rows = [
        _prior_of(side, part, own.get(_plain(part), {}))
        for side, part in zip(groups["side"], groups["part"], strict=True)
    ]
    pairs = np.array(rows, dtype=float).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def say_changed_priors(records: Records, groups: pd.DataFrame) -> None:
    """Note each prior that the plant has changed, and caution where one names no part."""
    named = zip(groups["side"], groups["part"], strict=True)
    sides = {_plain(part): (side, part) for side, part in named}
    for name, given in records.plant.priors.items():
        if _plain(name) not in sides:
            records.log.add(
                "caution",
                f"plant.toml gives a prior for {name}, of which there are no lives.",
                rule="unknown_prior",
                table="fits",
                consequence="It has no effect.",
                remedy=f"Parts with lives are: {', '.join(sorted(sides))}.",
            )
            continue
        side, part = sides[_plain(name)]
        usual, own = _prior_of(side, part, {}), _prior_of(side, part, given)
        if own != usual:
            records.log.add(
                "note",
                f"The prior on the shape of {part} is {own[0]:g} with spread {own[1]:g} in this "
                f"plant; usual is {usual[0]:g} with spread {usual[1]:g}.",
                rule="changed_prior",
                table="fits",
                consequence="It weighs in fits with few failures: see prior_share and "
                "b10_wider_prior.",
                remedy=f"Take [prior.{name}] out of plant.toml to go back.",
            )


def _plain(part: str) -> str:
    return part.strip().casefold()


def _prior_of(side: str, part: str, own: Mapping[str, float]) -> tuple[float, float]:
    """Median and spread: the plant's own, else the usual ones."""
    usual = 2.2, 0.37
    for prior_side, word, median, spread in SHAPE_PRIORS:
        if side == prior_side and word in part.lower():
            usual = median, spread
            break
    return float(own.get("shape", usual[0])), float(own.get("spread", usual[1]))
