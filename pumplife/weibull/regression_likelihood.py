"""The Weibull log-likelihood of lives with covariates, row by row, with its derivatives.

Times are taken relative to the longest age. With eta the logarithm of a row's scale (over that age)
and kappa the logarithm of its shape, the cumulated hazard at log age u is exp(z), z = exp(kappa)
(u - eta). Exact failures, the exposure between entry and the last sound age, and the span of an
interval all enter through the logarithm of a hazard, so that one rule of differentiation serves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.weibull.arrays import Floats, Ints, LifeArrays
from pumplife.weibull.likelihood import LARGEST, Spans, interval_terms, log_spans


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RowLives:
    """Lives ready for the likelihood of a regression.

    Attributes
    ----------
    log_unit : float
        log of the longest age [log usage].
    weight : array (rows,)
        Counts.
    exact : array (failures,)
        Rows that failed at a known age.
    log_age : array (failures,)
        log(age / longest) of those rows.
    exposed, between : Spans
        From entry to lower, and from lower to upper of interval lives; `code` is the row.
    """

    log_unit: float
    weight: Floats
    exact: Ints
    log_age: Floats
    exposed: Spans
    between: Spans

    def __repr__(self) -> str:
        return f"RowLives({len(self.weight)} lives)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RowPoint:
    """Each row's weighted log-likelihood and its derivatives by eta and kappa, arrays (rows,)."""

    value: Floats
    by_eta: Floats
    by_kappa: Floats
    eta2: Floats
    cross: Floats
    kappa2: Floats

    def __repr__(self) -> str:
        return f"RowPoint({len(self.value)} lives)"


def build_row_lives(lives: LifeArrays) -> RowLives:
    """Return checked lives in logarithms of time."""
    reached = np.where(np.isfinite(lives.upper), lives.upper, lives.lower)
    unit = float(reached.max())
    unit = unit if unit > 0.0 else 1.0
    exact = np.flatnonzero(lives.lower == lives.upper)
    inside = (lives.lower < lives.upper) & np.isfinite(lives.upper)
    return RowLives(
        log_unit=float(np.log(unit)),
        weight=lives.weights(),
        exact=exact,
        log_age=np.log(lives.lower[exact] / unit),
        exposed=_spans(
            np.flatnonzero(lives.lower > lives.entries()), lives.lower, lives.entries(), unit
        ),
        between=_spans(np.flatnonzero(inside), lives.upper, lives.lower, unit),
    )


def _spans(rows: Ints, end: Floats, start: Floats, unit: float) -> Spans:
    with np.errstate(divide="ignore"):
        gap = np.log(end[rows]) - np.log(start[rows])
    return Spans(
        code=rows,
        end=np.log(end[rows] / unit),
        gap=gap,
        bounded=np.where(np.isinf(gap), 0.0, gap),
        weight=None,
        start=np.arange(len(rows), dtype=np.intp),
    )


def look(lives: RowLives, eta: Floats, kappa: Floats) -> RowPoint:
    """Return the log-likelihood (failures in units of the longest age) and its derivatives."""
    shape = np.exp(kappa)
    parts = np.zeros((6, len(eta)))
    rows = lives.exact
    z = shape[rows] * (lives.log_age - eta[rows])
    parts[:, rows] += [kappa[rows] + z, -shape[rows], 1.0 + z, 0.0 * z, -shape[rows], z]
    _add_exposed(parts, lives.exposed, eta, shape)
    if len(lives.between.code):
        _add_between(parts, lives.between, eta, shape)
    value, by_eta, by_kappa, eta2, cross, kappa2 = parts * lives.weight
    return RowPoint(
        value=value, by_eta=by_eta, by_kappa=by_kappa, eta2=eta2, cross=cross, kappa2=kappa2
    )


def _log_hazard(spans: Spans, eta: Floats, shape: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return shape, the log of the hazard over each span, and its derivatives by kappa."""
    shapes, etas = shape[spans.code], eta[spans.code]
    log_span, first, second = log_spans(spans, shapes)
    slope = shapes * (first - etas)
    bend = slope + shapes**2 * (second - first**2)
    return shapes, log_span - shapes * etas, slope, bend


def _add_exposed(parts: Floats, spans: Spans, eta: Floats, shape: Floats) -> None:
    shapes, log_hazard, slope, bend = _log_hazard(spans, eta, shape)
    hazard = np.exp(np.minimum(log_hazard, LARGEST / 2.0))
    by_eta, by_kappa = shapes * hazard, slope * hazard
    terms = (
        -hazard,
        by_eta,
        -by_kappa,
        -shapes * by_eta,
        by_eta + shapes * by_kappa,
        -bend * hazard - slope * by_kappa,
    )
    rows = slice(None) if len(spans.code) == len(eta) else spans.code
    for part, term in zip(parts, terms, strict=True):
        part[rows] += term


def _add_between(parts: Floats, spans: Spans, eta: Floats, shape: Floats) -> None:
    shapes, log_hazard, slope, bend = _log_hazard(spans, eta, shape)
    value, share = interval_terms(log_hazard)
    curve = share * (1.0 - np.exp(np.minimum(log_hazard, 6.6)) - share)
    parts[:, spans.code] += [
        value,
        -shapes * share,
        slope * share,
        shapes**2 * curve,
        -shapes * (slope * curve + share),
        slope**2 * curve + bend * share,
    ]
