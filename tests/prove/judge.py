"""What is asked of the frames of `plants`, and how it came out."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

FEWEST = 5.0  # failures from which a fit is asked to cover the truth
MANY = 20.0  # failures from which advice and scales are held to the truth
BANDS = ((5.0, 10.0, "5-9"), (10.0, 20.0, "10-19"), (20.0, np.inf, "20 or more"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Result:
    """One number that was measured.

    Attributes
    ----------
    check : str
    target : str
        What is asked; "" where the number is only told.
    value : float
    of : int
        How many groups, failures, tickets or plants it is taken over.
    passes : bool or None
        None where nothing is asked.
    """

    check: str
    target: str
    value: float
    of: int
    passes: bool | None

    def __repr__(self) -> str:
        word = {None: "told", True: "passes", False: "MISSED"}[self.passes]
        asked = f"target {self.target}" if self.target else "no target"
        return f"{word:7} {self.check}: {self.value:.4g} over {self.of}, {asked}"


def within(check: str, value: float, of: int, low: float, high: float) -> Result:
    """Judge a value by its least and largest."""
    target = f"{low:g} to {high:g}" if low > -np.inf else f"at most {high:g}"
    target = f"at least {low:g}" if high == np.inf else target
    return Result(check=check, target=target, value=value, of=of, passes=bool(low <= value <= high))


def tell(check: str, value: float, of: int) -> Result:
    """Give a number that nothing is asked of."""
    return Result(check=check, target="", value=value, of=of, passes=None)


def judge_coverage(
    fits: pd.DataFrame, *, records: str, low: float, high: float
) -> Iterator[Result]:
    """Share of groups whose 90 % bounds hold the true shape, and the true scale."""
    rich = fits[fits["failures"] >= FEWEST]
    for name in ("shape", "scale"):
        head = f"{records} records: true {name} within the 90 % bounds"
        yield within(head, float(rich[f"{name}_covered"].mean()), len(rich), low, high)
        for least, below, words in BANDS:
            band = rich[(rich["failures"] >= least) & (rich["failures"] < below)]
            share = float(band[f"{name}_covered"].mean())
            yield tell(f"{head}, {words} failures", share, len(band))
        for side in ("below", "above"):
            share = float(rich[f"{name}_{side}"].mean())
            yield tell(f"{records} records: true {name} {side} the bounds", share, len(rich))


def judge_spoilt(plants: pd.DataFrame) -> Iterator[Result]:
    """What spoilt records give back."""
    total = plants.drop(columns="seed").sum()
    recovered = float(total["recovered"] / total["failures"])
    failures, tickets = int(total["failures"]), int(total["tickets"])
    yield within("spoilt records: true failures recovered", recovered, failures, 0.90, 1.0)
    aside = float(total["set_aside"] / tickets)
    yield within("spoilt records: ticket rows set aside", aside, tickets, 0.0, 0.15)
    assumed = float(total["assumed"] / tickets)
    yield tell("spoilt records: ticket rows used with an assumption", assumed, tickets)
    early = float(plants["early_found"].mean())
    yield tell("spoilt records: plants whose early lives were found", early, len(plants))


def judge_false_alarms(fits: pd.DataFrame) -> Iterator[Result]:
    """How often early lives, or sizes that differ, are seen where there are none."""
    plants = fits.groupby("seed")
    early = plants["early_share"].max() > 0
    sizes = plants["size_mm"].count() > 0
    yield tell("clean records: plants with early lives seen, none being true",
               float(early.mean()), len(early))  # fmt: skip
    sure = plants["early_sure"].any()
    yield tell("clean records: plants with early lives beyond doubt, none being true",
               float(sure.mean()), len(sure))  # fmt: skip
    yield tell("clean records: plants with sizes told apart, none being so",
               float(sizes.mean()), len(sizes))  # fmt: skip


def judge_regret(groups: pd.DataFrame) -> Iterator[Result]:
    """What the advice costs at the truth over the best, where cost decides."""
    free = groups[groups["hazard"] == "none"]
    many, few = free[free["failures"] >= MANY], free[free["failures"] < MANY]
    mean = float(many["interval_regret"].mean())
    words = "regret of the advised interval, 20 or more failures, not hazardous"
    yield within(f"{words}, mean", mean, len(many), 0.0, 0.02)
    for side in ("fluid", "air"):
        part = many[many["side"] == side]
        yield tell(f"{words}, {side} side, mean", float(part["interval_regret"].mean()), len(part))
    high = float(many["interval_regret"].quantile(0.9))
    yield tell(f"{words}, 90th percentile", high, len(many))
    policy = float(many["policy_regret"].mean())
    yield tell(f"{words}, failed part alone allowed, mean", policy, len(many))
    if len(few):
        mean = float(few["interval_regret"].mean())
        yield tell("regret of the advised interval, fewer than 20 failures, not hazardous, mean",
                   mean, len(few))  # fmt: skip


def judge_blanks(groups: pd.DataFrame) -> Iterator[Result]:
    """How far scales move when a fifth of the failed parts isn't written.

    A scale shifts either way by what the lost names are worth; what is asked is that sharing
    shifts scales neither up nor down on the whole. The distance stands beside that which the
    true hazards would leave.
    """
    many = groups[groups["failures"] >= MANY]
    words = "a fifth of the failed parts blank: scale against the whole records"
    shift, known = many["scale_ratio"] - 1.0, many["known_ratio"] - 1.0
    yield within(f"{words}, mean shift", float(shift.mean()), len(many), -0.03, 0.03)
    distance = float(shift.abs().mean())
    yield tell(f"{words}, mean distance", distance, len(many))
    yield tell(f"{words}, mean distance if the true hazards shared", float(known.abs().mean()),
               len(many))  # fmt: skip
    yield tell(f"{words}, 90th percentile of the distance", float(shift.abs().quantile(0.9)),
               len(many))  # fmt: skip
    for (side, part), rows in many.groupby(["side", "part"]):
        mean = float(rows["scale_ratio"].mean() - 1.0)
        yield tell(f"{words}, {side} side, {part}, mean shift", mean, len(rows))
