"""The climb to the best mixture of wear and early lives, every family at its own pace."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.weibull.arrays import Bools, Floats, Ints
from pumplife.weibull.mixture import MixtureLives, Slopes, evaluate_mixture

LOOSE = np.array([1.0, 2.0])  # spread of groups' log shape and log scale about their family's
SETTLED = 1e-6  # gain in log-likelihood below which the climb has arrived
LARGEST_STEP = np.array([0.5, 1.0])
LARGEST_COMMON_STEP = np.array([1.0, 0.7])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class State:
    """Where the climb stands: per group log shape and log scale, per family logit p and log tau."""

    own: Floats
    common: Floats
    value: Floats
    slopes: Slopes

    def __repr__(self) -> str:
        return f"State({len(self.value)} families)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Rules:
    """What holds the climb: loose centres per group, largest log tau, which parameters are free."""

    centre: Floats
    ceiling: Floats
    free: Bools

    def __repr__(self) -> str:
        return "Rules()"


def climb(
    lives: MixtureLives,
    own: Floats,
    common: Floats,
    rules: Rules,
    iterations: int,
) -> State:
    """Newton's climb with damping, every family at its own pace."""
    state = _look(lives, own, common, rules)
    pace = np.ones(lives.families)
    for _ in range(iterations):
        by_own, by_common = _find_steps(lives, state, rules)
        trial_common = state.common + np.where(rules.free, pace[:, None] * by_common, 0.0)
        trial_common[:, 1] = np.minimum(trial_common[:, 1], rules.ceiling)
        trial = _look(lives, state.own + pace[lives.family][:, None] * by_own, trial_common, rules)
        gain = trial.value - state.value
        state = _merge(state, trial, gain >= 0.0, lives.family)
        pace = np.where(gain >= 0.0, np.minimum(1.0, 2.0 * pace), 0.25 * pace)
        if bool(((np.abs(gain) < SETTLED) | (pace < 1e-6)).all()):
            break
    return state


def _look(lives: MixtureLives, own: Floats, common: Floats, rules: Rules) -> State:
    slopes = evaluate_mixture(lives, own[:, 0], own[:, 1], common[:, 0], common[:, 1])
    off = (own - rules.centre) / LOOSE
    value = slopes.value - 0.5 * lives.per_family((off**2).sum(axis=1))
    return State(own=own, common=common, value=np.nan_to_num(value, nan=-np.inf), slopes=slopes)


def _merge(old: State, new: State, take: Bools, family: Ints) -> State:
    """Return the new state for the families that take it, the old one for the others."""
    if take.all():
        return new
    groups = take[family]

    def pick(name: str) -> Floats:
        after, before = getattr(new.slopes, name), getattr(old.slopes, name)
        mask = groups if name in ("group", "group2", "mixed") else take
        wide = mask.reshape(-1, *[1] * (after.ndim - 1))
        return np.asarray(np.where(wide, after, before))

    names = ("value", "group", "common", "group2", "mixed", "common2", "early")
    return State(
        own=np.where(groups[:, None], new.own, old.own),
        common=np.where(take[:, None], new.common, old.common),
        value=np.where(take, new.value, old.value),
        slopes=Slopes(**{name: pick(name) for name in names}),
    )


def _find_steps(lives: MixtureLives, state: State, rules: Rules) -> tuple[Floats, Floats]:
    """Return the Newton steps of the groups' own and the families' common parameters."""
    slopes, family = state.slopes, lives.family
    gradient = slopes.group - (state.own - rules.centre) / LOOSE**2
    bend = invert_upright(-slopes.group2 + np.diag(1.0 / LOOSE**2))
    alone = np.einsum("gij,gj->gi", bend, gradient)
    if not rules.free.any():
        return _shorten(alone, LARGEST_STEP), np.zeros_like(state.common)
    through = np.einsum("gij,gjk->gik", bend, slopes.mixed)
    pull = np.einsum("gij,gi->gj", slopes.mixed, alone)
    common = slopes.common + np.column_stack([lives.per_family(pull[:, i]) for i in range(2)])
    common, matrix = _hold(common, _schur(lives, slopes, through), state, rules)
    by_common = _shorten(
        np.einsum("fij,fj->fi", invert_upright(matrix), common), LARGEST_COMMON_STEP
    )
    by_own = alone + np.einsum("gij,gj->gi", through, by_common[family])
    return _shorten(by_own, LARGEST_STEP), by_common


def _schur(lives: MixtureLives, slopes: Slopes, through: Floats) -> Floats:
    """Return minus the Hessian of the families' parameters, the groups' own maximised out."""
    own = np.einsum("gji,gjk->gik", slopes.mixed, through).reshape(-1, 4)
    total = np.column_stack([lives.per_family(own[:, i]) for i in range(4)])
    return np.asarray(-slopes.common2 - total.reshape(-1, 2, 2))


def _hold(gradient: Floats, matrix: Floats, state: State, rules: Rules) -> tuple[Floats, Floats]:
    """Take out the parameters that are fixed, or that stand at their ceiling and push upwards."""
    held = np.broadcast_to(~rules.free, gradient.shape).copy()
    held[:, 1] |= (state.common[:, 1] >= rules.ceiling - 1e-12) & (gradient[:, 1] > 0.0)
    matrix = np.where(held[:, :, None] | held[:, None, :], 0.0, matrix)
    matrix = matrix + np.einsum("fi,ij->fij", held.astype(float), np.eye(2))
    return np.where(held, 0.0, gradient), matrix


def invert_upright(matrix: Floats) -> Floats:
    """Return the inverse of symmetric 2 x 2 matrices with their eigenvalues made positive."""
    finite = np.nan_to_num(matrix, nan=1.0, posinf=1e12, neginf=-1e12)
    values, vectors = np.linalg.eigh(0.5 * (finite + np.swapaxes(finite, -1, -2)))
    upright = np.maximum(np.abs(values), 1e-4)
    return np.asarray(np.einsum("nij,nj,nkj->nik", vectors, 1.0 / upright, vectors))


def _shorten(step: Floats, largest: Floats) -> Floats:
    excess = np.max(np.abs(step) / largest, axis=1, keepdims=True)
    return np.asarray(step / np.maximum(1.0, excess))


def respond(lives: MixtureLives, state: State, rules: Rules) -> tuple[Floats, Floats]:
    """Return how groups follow their family, and minus the families' Hessian with that in it.

    The first is (groups, 2, 2): the change of log shape and log scale per change of logit p and
    log tau.
    """
    bend = invert_upright(-state.slopes.group2 + np.diag(1.0 / LOOSE**2))
    through = np.einsum("gij,gjk->gik", bend, state.slopes.mixed)
    _, matrix = _hold(state.slopes.common, _schur(lives, state.slopes, through), state, rules)
    return through, matrix
