"""What may stretch or shorten a life: candidate effects of service, material, size and duty."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.weibull.regression_design import find_dependent, name_partners

Floats = NDArray[np.float64]

FACTORS = ("service", "material", "size", "solids")  # in the order in which they are asked for
NUMBERS = ("pressure", "temperature", "stroke_rate")
FEWEST_FAILURES = 5.0  # of a level, to be told apart
FEWEST_PUMPS = 3  # of a level: what one pump shows may be the pump's own
MOSTLY_KNOWN = 0.8  # share of lives whose number is known, from which the others are left out
PER_COEFFICIENT = 10.0  # failures asked for per effect
SHARED = 0.9  # share of a column that the others explain, from which its effect is doubtful
DOUBLED = {"pressure": "twice the air pressure", "stroke_rate": "twice the strokes per minute"}
STEPPED = {
    "pressure": (1.0, "1 bar more air pressure"),
    "stroke_rate": (10.0, "10 strokes per minute more"),
    "temperature": (10.0, "10 °C hotter"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Effect:
    """One candidate column of a regression.

    Attributes
    ----------
    factor : str
        service, material, size, solids, pressure, temperature or stroke_rate.
    words : str
        What the life ratio compares, for people.
    values : float array (lives,)
    step : float
        Difference of the column that the life ratio is given for.
    marked : bool array (lives,)
        Lives that the effect is about: those of the level, or all for a number.
    also : tuple of str
        Effects that always go with this one, and are in it.
    """

    factor: str
    words: str
    values: Floats
    step: float
    marked: NDArray[np.bool_]
    also: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return f"Effect({self.words})"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Aside:
    """A candidate of which no effect can be told, and why.

    Attributes
    ----------
    words, note : str
    lives : DataFrame
        The lives it is about.
    """

    words: str
    note: str
    lives: pd.DataFrame

    def __repr__(self) -> str:
        return f"Aside({self.words}: {self.note})"


def leave_out_rare(lives: pd.DataFrame) -> tuple[pd.DataFrame, list[Aside]]:
    """Leave out lives of levels with too few failures or pumps, and of unknown numbers.

    Returns
    -------
    lives : DataFrame
    told : list of Aside
        What was left out, and why.
    """
    told: list[Aside] = []
    for number in NUMBERS:
        known = lives[number].notna()
        if MOSTLY_KNOWN <= known.mean() < 1.0:
            note = f"not known for {int((~known).sum())} lives: they are left out"
            told.append(Aside(words=name_factor(number), note=note, lives=lives[~known]))
            lives = lives[known]
        elif 0.0 < known.mean() < MOSTLY_KNOWN:
            note = f"known for {100 * known.mean():.0f} % of the lives only: not used"
            told.append(Aside(words=name_factor(number), note=note, lives=lives[known]))
    for _ in range(len(FACTORS) + 1):  # a level left out may make another one rare
        before = len(lives)
        for factor in FACTORS:
            lives, notes = _leave_out(lives, factor)
            told += notes
        if len(lives) == before:
            break
    return lives, told


def _leave_out(lives: pd.DataFrame, factor: str) -> tuple[pd.DataFrame, list[Aside]]:
    by_level = lives.groupby(factor, sort=True)
    rare = (by_level["failures"].sum() < FEWEST_FAILURES) | (
        by_level["pump"].nunique() < FEWEST_PUMPS
    )
    if not rare.any() or rare.all():
        return lives, []
    note = f"left out: {FEWEST_FAILURES:g} failures on {FEWEST_PUMPS} pumps are needed"
    told = [
        Aside(
            words=f"{name_factor(factor)} {write_level(factor, level)}",
            note=note,
            lives=lives[lives[factor] == level],
        )
        for level in rare.index[rare]
    ]
    return lives[~lives[factor].isin(rare.index[rare])], told


def name_factor(factor: str) -> str:
    """Say a factor in words."""
    return {"stroke_rate": "stroke rate", "pressure": "air pressure"}.get(factor, factor)


def write_level(factor: str, level: object) -> str:
    """Say a level in words."""
    if factor == "size":
        return f"{level:g} mm" if isinstance(level, float) and level > 0 else "not written"
    return str(level) or "not written"


def list_effects(lives: pd.DataFrame) -> Iterator[list[Effect]]:
    """Give the effects that vary among the lives, those of one factor together."""
    for factor in FACTORS:
        effects = _mark_levels(lives, factor)
        if effects:
            yield effects
    for number in NUMBERS:
        values = lives[number].to_numpy(float)
        if np.isfinite(values).all() and np.ptp(values) > 0.0:
            yield [measure_number(number, values)]


def _mark_levels(lives: pd.DataFrame, factor: str) -> list[Effect]:
    """Mark every level against the one with most failures."""
    failures = lives.groupby(factor, sort=True)["failures"].sum()
    base = failures.idxmax()
    effects = []
    for level in failures.index[failures.index != base]:
        marked = lives[factor].eq(level).to_numpy()
        against = f"{write_level(factor, level)} against {write_level(factor, base)}"
        words = f"{name_factor(factor)} {against}"
        effects.append(
            Effect(factor=factor, words=words, values=marked.astype(float), step=1.0, marked=marked)
        )
    return effects


def measure_number(number: str, values: Floats) -> Effect:
    """Take a number's logarithm where it is one of proportion, else the number itself."""
    everywhere = np.ones(len(values), dtype=bool)
    if number in DOUBLED and (values > 0.0).all():
        words, column, step = DOUBLED[number], np.log2(values), 1.0
    else:
        (step, words), column = STEPPED[number], values
    return Effect(factor=number, words=words, values=column, step=step, marked=everywhere)


def choose_effects(lives: pd.DataFrame) -> tuple[list[Effect], list[Aside]]:
    """Choose the effects that the failures allow and that can be told apart.

    Returns
    -------
    effects : list of Effect
    told : list of Aside
        Candidates that were not chosen, and why.
    """
    failures = float(lives["failures"].sum())
    chosen: list[Effect] = []
    told: list[Aside] = []
    for block in list_effects(lives):
        needed = PER_COEFFICIENT * (len(chosen) + len(block))
        if failures < needed:
            note = f"too few failures: {needed:g} are needed beside the other effects"
            told.append(Aside(words=name_factor(block[0].factor), note=note, lives=lives))
            continue
        chosen, notes = _take_apart(lives, chosen, block)
        told += notes
    return chosen, told


def _take_apart(
    lives: pd.DataFrame, chosen: list[Effect], block: list[Effect]
) -> tuple[list[Effect], list[Aside]]:
    """Add those effects of a block that the effects before them don't make up."""
    both = [*chosen, *block]
    columns = np.column_stack([np.ones(len(lives)), *(one.values for one in both)])
    doubled = find_dependent(columns)[1:]
    told = []
    for place in map(int, np.flatnonzero(doubled)):
        partners = [one - 1 for one in name_partners(columns, place + 1) if one > 0]
        names = " and ".join(both[one].words for one in partners) or "the rest"
        note = f"confounded: always goes with {names}, their effects can't be told apart"
        told.append(Aside(words=both[place].words, note=note, lives=lives[both[place].marked]))
        for one in partners:
            both[one] = replace(both[one], also=(*both[one].also, both[place].words))
    return [one for one, drop in zip(both, doubled, strict=True) if not drop], told


def shared_parts(effects: list[Effect]) -> Floats:
    """Return how much of each effect's column the others explain (effects,), 0 to 1."""
    columns = np.column_stack([one.values for one in effects])
    if columns.shape[1] == 1:
        return np.zeros(1)
    correlation = np.corrcoef(columns, rowvar=False)
    return np.asarray(1.0 - 1.0 / np.diag(np.linalg.inv(correlation)))
