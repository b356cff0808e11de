"""Whether a regression has a finite estimate, and which columns run away where it hasn't."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pumplife.errors import NoFiniteEstimate
from pumplife.weibull.arrays import Floats, LifeArrays
from pumplife.weibull.existence import SCALE_DOWN, SCALE_UP, SHAPE_DOWN, SHAPE_UP, WHY
from pumplife.weibull.likelihood import LARGEST, Spans
from pumplife.weibull.regression_climb import Summit, climb, split_terms
from pumplife.weibull.regression_design import Design
from pumplife.weibull.regression_likelihood import RowLives

TINY = 1e-7
FLATTEST, STEEPEST = np.log(1e-3), np.log(1e3)  # log shapes beyond which there is no estimate


def refuse_runaway(lives: LifeArrays, design: Design) -> None:
    """Raise NoFiniteEstimate where the likelihood rises for ever along some direction.

    For lives entered at 0 and a common shape the log-likelihood is concave in (shape, shape times
    log-scale terms), so an estimate exists exactly when no direction keeps every last sound age
    from more hazard and every failure from less [1]_. A linear programme finds such a direction.

    References
    ----------
    .. [1] A. Albert, J. A. Anderson, "On the existence of maximum likelihood estimates in logistic
       regression models", Biometrika 71 (1984) 1-10; the same argument for log-linear hazards.
    """
    failed, sound = np.isfinite(lives.upper), lives.lower > 0.0
    for bare, end in ((~failed, SCALE_UP), (~sound, SCALE_DOWN)):
        if bare.all():
            raise NoFiniteEstimate(f"No finite regression ({end}): {WHY[end]}.", end=end)
    unit = np.where(failed, lives.upper, lives.lower).max()
    upper = _points(lives.upper[failed] / unit, design.scale[design.kind[failed]])
    if np.linalg.matrix_rank(upper[(lives.lower == lives.upper)[failed]]) == upper.shape[1]:
        return
    lower = _points(lives.lower[sound] / unit, design.scale[design.kind[sound]])
    direction = _find_direction(lower, upper)
    if direction is not None:
        _say_runaway(direction, lower, design)


def _points(age: Floats, columns: Floats) -> Floats:
    return np.column_stack([np.log(age), columns])


def _find_direction(lower: Floats, upper: Floats) -> Floats | None:
    """Return a direction in which no sound age gains hazard and no failure loses any."""
    from scipy.optimize import linprog  # noqa: PLC0415  # heavy, and rarely needed

    rules = np.concatenate([lower, -upper])
    aim = rules.sum(axis=0)
    aim[0] -= 1.0
    limits = [(0.0, 1.0), *[(-1.0, 1.0)] * (lower.shape[1] - 1)]
    found = linprog(aim, A_ub=rules, b_ub=np.zeros(len(rules)), bounds=limits, method="highs")
    gain = 0.0 if found.fun is None else -float(found.fun)
    return np.asarray(found.x, dtype=np.float64) if gain > TINY else None


def _say_runaway(direction: Floats, lower: Floats, design: Design) -> None:
    count = design.scale.shape[1]
    terms = design.back[:count, :count] @ direction[1:]
    moved = np.abs(terms) > 1e-5 * np.abs(terms).max(initial=0.0)
    names = [name for name, one in zip(design.names[1:count], moved[1:], strict=True) if one]
    if direction[0] > TINY:
        end = SHAPE_UP
        words = "the failures lie on a line in log age and covariates that no life outlived"
    elif bool((lower @ direction < -TINY).any()):
        end = SCALE_UP
        words = _word_separation(names, "without a failure", base=bool(moved[0]))
    else:
        end = SCALE_DOWN
        words = _word_separation(names, "that nothing was seen to outlive", base=bool(moved[0]))
    raise NoFiniteEstimate(
        f"No finite regression ({end}): {words}. Leave the column out, or put its lives together "
        "with a level that has failures.",
        end=end,
    )


def _word_separation(names: Sequence[str], what: str, *, base: bool) -> str:
    listed = ", ".join(names)
    if base:
        return f"there are lives {what} where none of {listed} holds (their common reference)"
    return f"{listed} sets lives apart {what}"


def refuse_flat(lives: RowLives, design: Design, summit: Summit) -> None:
    """Raise NoFiniteEstimate where a shape of zero fits as well as the summit.

    It can where no life was seen from age 0 on (the hazard is then c / age), or where everything
    that failed had failed before the first look (then a share fails at once).
    """
    limit = _limit_at_zero(lives, design)
    if limit < summit.value - 1e-9 * (1.0 + abs(summit.value)):
        return
    raise NoFiniteEstimate(
        f"No finite regression ({SHAPE_DOWN}): {WHY[SHAPE_DOWN]}.", end=SHAPE_DOWN
    )


def _limit_at_zero(lives: RowLives, design: Design) -> float:
    """Return the limit of the maximised log-likelihood as the common shape goes to zero."""
    if design.shape.shape[1] > 1 or lives.exposed.gap is None or lives.between.gap is None:
        return -np.inf
    fresh, left = np.isinf(lives.exposed.gap), np.isinf(lives.between.gap)
    if not fresh.any():
        hazards = np.log(lives.exposed.gap), np.log(np.where(left, LARGEST, lives.between.gap))
    elif left.all() and not len(lives.exact):
        hazards = np.zeros(len(fresh)), np.zeros(len(left))
    else:
        return -np.inf
    flat = replace(
        lives,
        log_age=np.zeros_like(lives.log_age),
        exposed=_fix(lives.exposed, hazards[0]),
        between=_fix(lives.between, hazards[1]),
    )
    held = (np.arange(len(design.names)) == design.scale.shape[1]).astype(np.float64)
    return climb(flat, design, np.zeros(len(held)), held).value


def _fix(spans: Spans, log_hazard: Floats) -> Spans:
    """Return spans whose hazard at shape 1 and scale 1 is the one given."""
    whole = np.full(len(log_hazard), np.inf)
    return replace(spans, end=log_hazard, gap=whole, bounded=np.zeros_like(whole))


def refuse_unsettled(summit: Summit, design: Design) -> None:
    """Raise NoFiniteEstimate where the climb found no maximum inside."""
    eta, kappa = split_terms(design, summit.terms)
    inside = bool((kappa > FLATTEST).all() and (kappa < STEEPEST).all())
    if inside and summit.settled and summit.peaked:
        return
    count = design.scale.shape[1]
    end = SHAPE_UP if float(kappa.max()) > -float(kappa.min()) else SHAPE_DOWN
    if inside:
        end = SCALE_UP if float(eta.max()) > -float(eta.min()) else SCALE_DOWN
    far = 1 + int(np.argmax(np.abs(summit.terms[1:])))
    name = design.names[far] if far != count else "the common shape"
    raise NoFiniteEstimate(
        f"No finite regression ({end}): the likelihood keeps rising as {name} runs away. "
        "Leave it out, put its lives together with others, or check the entry ages.",
        end=end,
    )
