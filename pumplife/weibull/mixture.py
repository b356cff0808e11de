"""The log-likelihood of wear lives mixed with early ones, for families of groups.

A life is an early one with chance p (an assembly fault, exponential with mean tau), else it wears
(Weibull). p and tau are common to the groups of a family; shape and scale are each group's own.
With W and E the two chances of what was seen of a life, its likelihood is
((1 - p) W + p E) / ((1 - p) W_entry + p E_entry). Its derivatives follow from the chance that the
life was a wear life, omega = (1 - p) W / N, and gamma = 1 - omega:

    gradient = omega a_wear + gamma a_early
    Hessian  = omega H_wear + gamma H_early + omega gamma (a_wear - a_early)(a_wear - a_early)'
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pumplife.weibull.arrays import Floats, Groups, Ints, LifeArrays, sum_by

NEVER = -1e5  # stands for log(0) where it is multiplied by a hazard that is 0
SMALLEST = 1e-150


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class MixtureLives:
    """Lives sorted by group, with what the mixture needs of them.

    Attributes
    ----------
    groups : Groups
    family : array (groups,)
        Family number of each group.
    families : int
    lower, upper, weight : arrays (rows,)
    exact : array (rows,) of 0 or 1
    log_age : array (rows,) [log usage]
        log(lower), NEVER where lower is 0.
    between, late : arrays
        Rows with an interval; rows with an entry above 0.
    entry : array (late,) [usage]
    """

    groups: Groups
    family: Ints
    families: int
    lower: Floats
    upper: Floats
    weight: Floats
    exact: Floats
    log_age: Floats
    between: Ints
    late: Ints
    entry: Floats

    def __repr__(self) -> str:
        return f"MixtureLives({len(self.lower)} lives, {self.families} families)"

    def rows(self, values: Floats) -> Floats:
        """Spread one value per group over the rows."""
        return np.repeat(values, self.groups.size)

    def per_group(self, values: Floats) -> Floats:
        """Return the sums over each group; every group has rows."""
        return np.add.reduceat(values, self.groups.start)

    def per_family(self, values: Floats) -> Floats:
        """Return the sums over each family of one value per group."""
        return sum_by(self.family, values, self.families)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Terms:
    """A log-chance per row and its derivatives by two parameters (log shape and log scale).

    Attributes
    ----------
    value, first, second : arrays (rows,)
        The value and its derivatives by log shape and log scale.
    first2, cross, second2 : arrays (rows,)
        Second derivatives.
    """

    value: Floats
    first: Floats
    second: Floats
    first2: Floats
    cross: Floats
    second2: Floats

    def __repr__(self) -> str:
        return f"Terms({len(self.value)} rows)"


def build_mixture_lives(
    lives: LifeArrays, groups: Groups, family: Ints, families: int
) -> MixtureLives:
    """Return lives (sorted by group, every group with rows) ready for the mixture."""
    entry = lives.entries()
    late = np.flatnonzero(entry > 0.0)
    exact = lives.lower == lives.upper
    return MixtureLives(
        groups=groups,
        family=family,
        families=families,
        lower=lives.lower,
        upper=lives.upper,
        weight=lives.weights(),
        exact=exact.astype(np.float64),
        log_age=log_or_never(lives.lower),
        between=np.flatnonzero(~exact & np.isfinite(lives.upper)),
        late=late,
        entry=entry[late],
    )


def log_or_never(age: Floats) -> Floats:
    """Return log(age), and NEVER at age 0."""
    return np.log(age, out=np.full_like(age, NEVER), where=age > 0.0)


def wear_terms(lives: MixtureLives, log_shape: Floats, log_scale: Floats) -> Terms:
    """Return the log-chance of each life as a wear life; parameters are (rows,)."""
    shape = np.exp(log_shape)
    terms = survival_terms(lives.log_age, shape, log_scale)
    log_hazard = shape * (lives.log_age - log_scale)
    exact = lives.exact
    terms = Terms(
        value=terms.value + np.where(exact > 0, log_shape + log_hazard - lives.log_age, 0.0),
        first=terms.first + exact * np.where(exact > 0, 1.0 + log_hazard, 0.0),
        second=terms.second - exact * shape,
        first2=terms.first2 + np.where(exact > 0, log_hazard, 0.0),
        cross=terms.cross - exact * shape,
        second2=terms.second2,
    )
    rows = lives.between
    if len(rows):
        _add_between(terms, lives, shape[rows], log_scale[rows])
    return terms


def survival_terms(log_age: Floats, shape: Floats, log_scale: Floats) -> Terms:
    """Return the log-survival of each age and its derivatives by log shape and log scale."""
    log_hazard = np.clip(shape * (log_age - log_scale), NEVER, 300.0)
    hazard = np.exp(log_hazard)
    tilted = hazard * log_hazard
    return Terms(
        value=-hazard,
        first=-tilted,
        second=shape * hazard,
        first2=-tilted * (1.0 + log_hazard),
        cross=shape * (hazard + tilted),
        second2=-(shape**2) * hazard,
    )


def _add_between(terms: Terms, lives: MixtureLives, shape: Floats, log_scale: Floats) -> None:
    """Add log(1 - exp(-B)) for the interval rows, B the cumulated hazard between the two ages."""
    rows = lives.between
    low = survival_terms(lives.log_age[rows], shape, log_scale)
    high = survival_terms(np.log(lives.upper[rows]), shape, log_scale)
    hazard = np.clip(low.value - high.value, SMALLEST, 1e100)
    first, second = low.first - high.first, low.second - high.second
    inside = np.minimum(hazard, 700.0)
    pull = 1.0 / np.expm1(inside)
    bend = pull * (1.0 + pull)
    terms.value[rows] += np.log(-np.expm1(-inside))
    terms.first[rows] += pull * first
    terms.second[rows] += pull * second
    terms.first2[rows] += pull * (low.first2 - high.first2) - bend * first**2
    terms.cross[rows] += pull * (low.cross - high.cross) - bend * first * second
    terms.second2[rows] += pull * (low.second2 - high.second2) - bend * second**2


def early_terms(lives: MixtureLives, early_scale: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the log-chance of each life as an early one, and two derivatives by log tau."""
    age = lives.lower / early_scale
    exact = lives.exact
    value, first, second = -age - exact * np.log(early_scale), age - exact, -age
    rows = lives.between
    if len(rows):
        width = (lives.upper[rows] - lives.lower[rows]) / early_scale[rows]
        inside = np.minimum(width, 700.0)
        share = inside / np.expm1(inside)
        value[rows] += np.log(-np.expm1(-inside))
        first[rows] -= share
        second[rows] += share * (1.0 - inside - share)
    return value, first, second


def mix(share: Floats, wear: Floats, early: Floats) -> tuple[Floats, Floats]:
    """Return the log-likelihood of each life, and the chance that it was a wear life."""
    with np.errstate(divide="ignore", invalid="ignore"):
        by_wear, by_early = np.log1p(-share) + wear, np.log(share) + early
        total = np.logaddexp(by_wear, by_early)
        omega = np.where(share > 0.0, np.exp(by_wear - total), 1.0)
    return total, np.nan_to_num(omega, nan=1.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Slopes:
    """Gradient and Hessian of the mixture: groups' own parameters beside the families' common ones.

    Attributes
    ----------
    value : array (families,)
    group : array (groups, 2)
        By log shape and log scale.
    common : array (families, 2)
        By logit p and log tau.
    group2 : array (groups, 2, 2)
    mixed : array (groups, 2, 2)
        Rows log shape, log scale; columns logit p, log tau.
    common2 : array (families, 2, 2)
    early : array (families,)
        Expected early failures.
    """

    value: Floats
    group: Floats
    common: Floats
    group2: Floats
    mixed: Floats
    common2: Floats
    early: Floats

    def __repr__(self) -> str:
        return f"Slopes({len(self.value)} families)"


def evaluate_mixture(
    lives: MixtureLives, log_shape: Floats, log_scale: Floats, logit: Floats, log_tau: Floats
) -> Slopes:
    """Return the log-likelihood of each family and its derivatives.

    log_shape and log_scale are per group; logit (of p; -inf for none) and log_tau per family.
    """
    share = special.expit(logit)[lives.family]
    tau = np.exp(log_tau)[lives.family]
    shapes, scales = lives.rows(log_shape), lives.rows(log_scale)
    wear = wear_terms(lives, shapes, scales)
    early = early_terms(lives, lives.rows(tau))
    sums, found = _mixture_sums(
        wear, early, lives.rows(share), lives.weight, np.isfinite(lives.upper)
    )
    total = [lives.per_group(part) for part in sums]
    if len(lives.late):
        rows = lives.late
        survived = survival_terms(np.log(lives.entry), np.exp(shapes[rows]), scales[rows])
        age = lives.entry / lives.rows(tau)[rows]
        entered, _ = _mixture_sums(
            survived, (-age, age, -age), lives.rows(share)[rows], lives.weight[rows], None
        )
        code = lives.groups.code[rows]
        count = len(log_shape)
        total = [
            part - np.bincount(code, loss, count) for part, loss in zip(total, entered, strict=True)
        ]
    return _collect(lives, total, lives.per_group(found))


def _mixture_sums(
    wear: Terms,
    early: tuple[Floats, Floats, Floats],
    share: Floats,
    weight: Floats,
    failed: Floats | None,
) -> tuple[list[Floats], Floats]:
    """Return weighted rows of the value, 4 first and 10 second derivatives, and early failures."""
    value, omega = mix(share, wear.value, early[0])
    gamma = 1.0 - omega
    both = weight * omega * gamma
    own, other = weight * omega, weight * gamma
    by_tau = early[1]
    rows = [
        weight * value,
        own * wear.first,
        own * wear.second,
        weight * (gamma - share),
        other * by_tau,
        own * wear.first2 + both * wear.first**2,
        own * wear.cross + both * wear.first * wear.second,
        own * wear.second2 + both * wear.second**2,
        -both * wear.first,
        -both * wear.first * by_tau,
        -both * wear.second,
        -both * wear.second * by_tau,
        both - weight * share * (1.0 - share),
        both * by_tau,
        other * early[2] + both * by_tau**2,
    ]
    return rows, other if failed is None else other * failed


def _collect(lives: MixtureLives, total: list[Floats], early: Floats) -> Slopes:
    common2 = [lives.per_family(part) for part in total[12:]]
    return Slopes(
        value=lives.per_family(total[0]),
        group=np.stack(total[1:3], axis=-1),
        common=np.stack([lives.per_family(part) for part in total[3:5]], axis=-1),
        group2=_square(total[5], total[6], total[6], total[7]),
        mixed=_square(*total[8:12]),
        common2=_square(common2[0], common2[1], common2[1], common2[2]),
        early=lives.per_family(early),
    )


def _square(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats:
    return np.stack([np.stack([a, b], axis=-1), np.stack([c, d], axis=-1)], axis=-2)
