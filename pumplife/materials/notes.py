"""What to know before a comparison of materials is acted on, in words."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pumplife.materials.compare import Pair
from pumplife.materials.confirmed import CONFIRMED, EXPIRED
from pumplife.materials.confounded import YES, explain_away
from pumplife.policy.chance import say_chance

ADVISE_FROM = 0.9  # chance of being cheaper from which a material is advised
SHAPES_DIFFER = 0.05  # p from which it is said that shapes differ
NAMES = {"pressure": "air pressure", "temperature": "temperature", "stroke_rate": "stroke rate"}


def note_pair(pair: Pair, prob_cheaper: float, confirmed: str) -> str:
    """Write the note of one comparison.

    Parameters
    ----------
    pair : Pair
    prob_cheaper : float
        NaN where no cost is compared.
    confirmed : str
        What `is_confirmed` says; "" where no one service is meant.
    """
    words = [*_say_evidence(pair), *_say_advice(pair, prob_cheaper, confirmed)]
    return "; ".join(words)


def note_alone(kind: str, part: str, service: str, elsewhere: list[str]) -> str:
    """Write the note of a material that is the only one of its part in a service."""
    others = (
        "; a difference to another service may be the service's (others hold "
        f"{', '.join(elsewhere)})"
        if elsewhere
        else ""
    )
    return f"{kind} is the only {part} material used in {service}: nothing to compare with{others}"


def _say_evidence(pair: Pair) -> Iterator[str]:
    ratio, verdict = pair.ratio, pair.verdict
    if verdict.reason:
        yield verdict.reason
    if np.isfinite(ratio.low) and not np.isfinite(ratio.high) and ratio.why_not:
        yield f"no {pair.kind} has failed: at least {np.exp(ratio.low):.2g} times the life, a bound"
    elif np.isfinite(ratio.high) and not np.isfinite(ratio.low) and ratio.why_not:
        yield (
            f"no {pair.reference} has failed: at most {np.exp(ratio.high):.2g} times the life, a "
            "bound"
        )
    elif ratio.why_not and verdict.comparable == YES:
        yield f"no ratio: {ratio.why_not}"
    if verdict.mixed_pumps:
        yield f"{verdict.mixed_pumps} pumps held both at once: each may have worn the other"
    if pair.held_equal:
        yield f"held equal too: {', '.join(NAMES[name] for name in pair.held_equal)}"
    if pair.shape_p < SHAPES_DIFFER:
        yield "their shapes differ: the ratio is not the same early and late in life"
    if verdict.comparable == YES:
        yield from _say_hidden(pair)


def _say_hidden(pair: Pair) -> Iterator[str]:
    """How large an unrecorded difference in duty would explain the ratio."""
    estimate, low, high = np.exp([pair.ratio.estimate, pair.ratio.low, pair.ratio.high])
    explained, doubted = explain_away(float(estimate), float(low), float(high))
    if not np.isfinite(explained):
        return
    shorter = pair.reference if estimate >= 1.0 else pair.kind
    if doubted > 1.0:
        yield (
            f"to explain it away, duty that nobody recorded would have to wear the {shorter} "
            f"pumps' parts {explained:.2f} times as fast; {doubted:.2f} times would leave it in "
            "doubt"
        )
    else:
        yield "the records leave open which of the two lasts longer"


def _say_advice(pair: Pair, prob_cheaper: float, confirmed: str) -> Iterator[str]:
    if not confirmed:
        return
    if confirmed != CONFIRMED:
        state = "has expired" if confirmed == EXPIRED else "is not in the compatibility table"
        yield (
            f"no advice: the confirmation of {pair.kind} for {pair.service} {state}; a life ratio "
            "says nothing on chemical compatibility"
        )
    elif np.isfinite(prob_cheaper) and prob_cheaper >= ADVISE_FROM:
        yield f"cheaper here with a chance of {say_chance(prob_cheaper)}: worth changing to"
    elif np.isfinite(prob_cheaper) and prob_cheaper <= 1.0 - ADVISE_FROM:
        yield f"dearer here with a chance of {say_chance(1.0 - prob_cheaper)}"
    elif np.isfinite(prob_cheaper):
        yield "which of the two costs less can't be told yet"
