"""What a fit says, in words that an engineer can act on."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from pumplife.fits.groups import EARLY_NOTICED
from pumplife.fits.rules import BORROWED, BOUND, ENOUGH, NONE

POOR_FIT = 0.01  # p-value from which the verdict speaks: a study tests dozens of groups
TOLD_APART = 20.0  # failures from which it is worth saying that forms of life aren't told apart
SHARED_NOTICED = 0.25  # share of failures without a name from which the verdict speaks of them
LENT_NOTICED = 0.1  # share of the B10 life that other groups lend, from which it is spoken of
PRIOR_NOTICED = 0.1  # move of the B10 life under a wider prior, from which it is spoken of


def describe_fit(row: Mapping[Any, Any]) -> str:
    """One sentence on evidence, what can be decided, early lives and wear.

    Parameters
    ----------
    row : mapping
        A row of the table of fits: failures, shared_failures, evidence, standing, shape_low,
        shape_high, b10, b10_wider_prior, borrowed_share, early_share, early_share_high,
        early_scale, early_sure, more_failures, lognormal_gain, goodness_p, best_life.
    """
    words = [_evidence_words(row)]
    if not np.isnan(row["early_scale"]):
        words.append(_early_words(row))
    if row["failures"] < NONE:
        return "; ".join(words)
    if row["shared_failures"] > SHARED_NOTICED * row["failures"]:
        words.append(
            f"{row['shared_failures']:.3g} of them only shared out from breakdowns that named no "
            "part"
        )
    mixed = row["goodness_p"] < POOR_FIT
    if mixed:
        words.append(_mixture_words(row))
    words.append(_wear_words(row["shape_low"], row["shape_high"], mixed=mixed))
    words += _prior_words(row)
    words += _form_words(row)
    return "; ".join(words)


def _evidence_words(row: Mapping[Any, Any]) -> str:
    """Say how many failures there are and what can be decided on them."""
    if row["failures"] < NONE:
        return f"{row['evidence']}: {BOUND}"
    standing = row["standing"]
    lent = row["borrowed_share"]
    if standing == BORROWED:
        standing = f"{standing} ({100 * lent:.0f} %)"
    elif lent >= LENT_NOTICED:
        standing = f"{standing}, {100 * lent:.0f} % borrowed from other groups"
    return f"{row['evidence']}: {_count(row['failures'])}, {standing}"


def _early_words(row: Mapping[Any, Any]) -> str:
    if row["failures"] < NONE:
        return (
            "early lives found in like groups only; here at most "
            f"{100 * row['early_share_high']:.1f} % are taken to end so"
        )
    if row["early_share"] < EARLY_NOTICED:
        return (
            "early lives found in other services, hardly any here (at most "
            f"{100 * row['early_share_high']:.1f} %)"
        )
    percent = f"{100 * row['early_share']:.1f} %"
    if not row["early_sure"]:
        return f"early lives suspected: {percent} seem to end soon after assembly"
    return f"early lives found: {percent} end soon after assembly"


def _form_words(row: Mapping[Any, Any]) -> list[str]:
    """Say whether another form of life, or more than one kind of it, is seen."""
    words = []
    if row["best_life"] == "exponential":
        words.append("a constant failure rate fits as well as wear")
    if row["lognormal_gain"] > 2:
        words.append("a lognormal life fits these records better")
    if row["best_life"] == "undecided" and row["failures"] >= TOLD_APART:
        words.append("which form of life fits best is undecided")
    return words


def _mixture_words(row: Mapping[Any, Any]) -> str:
    """Say that more than one kind of life may be mixed, before anything is said of shape."""
    return (
        f"the Weibull line fits poorly (p = {row['goodness_p']:.2g}): look at the plot for two "
        "kinds of life in one group"
    )


def _wear_words(shape_low: float, shape_high: float, *, mixed: bool) -> str:
    if shape_low > 1:
        return "wears out"
    if shape_high < 1.2 and mixed:
        return "no wear is seen, which such a mixture can hide"
    if shape_high < 1.2:
        return "no sign of wear: fails at any age"
    return "wear not shown"


def _prior_words(row: Mapping[Any, Any]) -> list[str]:
    """Say how much hangs on the prior, and what more failures would bring."""
    words = []
    moved = row["b10_wider_prior"] / row["b10"] - 1.0
    if abs(moved) > PRIOR_NOTICED:
        percent = f"{100 * moved:+.0f}".replace("-", "−")
        words.append(f"were the shape assumed less surely, B10 would move by {percent} %")
    if row["standing"] != ENOUGH:
        words.append(f"{row['more_failures']:.0f} more failures would halve the band")
    return words


def _count(failures: float) -> str:
    return "1 failure" if failures == 1 else f"{failures:.3g} failures"
