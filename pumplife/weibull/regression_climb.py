"""The climb to the maximum of a regression's likelihood, free or with one combination held."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.weibull.arrays import Floats
from pumplife.weibull.regression_design import Design
from pumplife.weibull.regression_likelihood import RowLives, RowPoint, look

LARGEST_STEP = (3.0, 1.0)  # of any row's log scale and log shape
SETTLED = 1e-8  # twice the gain that a step promises, below which it is the last one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Summit:
    """Where the climb ended.

    Attributes
    ----------
    terms : array (terms,)
        Standardised terms of log scale, then of log shape.
    value : float
        Log-likelihood, failures in units of the longest age.
    gradient, inverse : arrays (terms,), (terms, terms)
        Slope there, and the inverse of minus the Hessian, made positive where it isn't.
    rows : RowPoint
    peaked : bool
        Minus the Hessian is positive as it stands.
    settled : bool
        False where the climb ran out of steps.
    """

    terms: Floats
    value: float
    gradient: Floats
    inverse: Floats
    rows: RowPoint
    peaked: bool
    settled: bool

    def __repr__(self) -> str:
        return f"Summit(value={self.value:.6g})"


def climb(
    lives: RowLives,
    design: Design,
    start: Floats,
    held: Floats | None = None,
    *,
    iterations: int = 300,
) -> Summit:
    """Newton's climb with damping; a combination of terms `held` (terms,) doesn't change."""
    here = _stand(lives, design, start)
    for _ in range(iterations):
        step = here.inverse @ here.gradient
        if held is not None:
            across = here.inverse @ held
            step = step - across * (held @ step) / (held @ across)
        if float(step @ here.gradient) < SETTLED:
            return _stand(lives, design, here.terms + step)
        moved = _step(lives, design, here, _shorten(design, step))
        if moved is None:
            return here
        here = moved
    return _unsettle(here)


def _step(lives: RowLives, design: Design, here: Summit, step: Floats) -> Summit | None:
    """Return the first of ever shorter steps that gains, None where none does."""
    for _ in range(30):
        there = _stand(lives, design, here.terms + step)
        if there.value > here.value:
            return there
        step = 0.4 * step
    return None


def _unsettle(here: Summit) -> Summit:
    return Summit(
        terms=here.terms,
        value=here.value,
        gradient=here.gradient,
        inverse=here.inverse,
        rows=here.rows,
        peaked=here.peaked,
        settled=False,
    )


def split_terms(design: Design, terms: Floats) -> tuple[Floats, Floats]:
    """Return each row's log scale (over the longest age) and log shape."""
    count = design.scale.shape[1]
    by_kind = design.scale @ terms[:count], design.shape @ terms[count:]
    return by_kind[0][design.kind], by_kind[1][design.kind]


def _shorten(design: Design, step: Floats) -> Floats:
    by_eta, by_kappa = split_terms(design, step)
    excess = max(
        float(np.abs(by_eta).max()) / LARGEST_STEP[0],
        float(np.abs(by_kappa).max()) / LARGEST_STEP[1],
    )
    return step / max(1.0, excess)


def _stand(lives: RowLives, design: Design, terms: Floats) -> Summit:
    """Return the likelihood at the terms, with slope and curvature."""
    rows = look(lives, *split_terms(design, terms))
    gradient = np.append(
        design.add_up(rows.by_eta) @ design.scale, design.add_up(rows.by_kappa) @ design.shape
    )
    inverse, peaked = _invert(-_hessian(rows, design))
    value = float(rows.value.sum())
    return Summit(
        terms=terms,
        value=value if np.isfinite(value) else -np.inf,
        gradient=gradient,
        inverse=inverse,
        rows=rows,
        peaked=peaked,
        settled=True,
    )


def _hessian(rows: RowPoint, design: Design) -> Floats:
    own = design.scale.T @ (design.add_up(rows.eta2)[:, None] * design.scale)
    cross = design.scale.T @ (design.add_up(rows.cross)[:, None] * design.shape)
    other = design.shape.T @ (design.add_up(rows.kappa2)[:, None] * design.shape)
    return np.block([[own, cross], [cross.T, other]])


def _invert(matrix: Floats) -> tuple[Floats, bool]:
    """Return the inverse with eigenvalues made positive, and whether they were."""
    finite = np.nan_to_num(matrix, nan=0.0, posinf=1e100, neginf=-1e100)
    values, vectors = np.linalg.eigh(0.5 * (finite + finite.T))
    floor = 1e-13 * max(float(np.abs(values).max()), 1e-300)
    upright = np.maximum(np.abs(values), floor)
    return (vectors / upright) @ vectors.T, bool(values.min() > floor)
