"""What a fit says, in words that an engineer can act on."""

EVIDENCE_STEPS: tuple[tuple[float, str], ...] = (
    # fewer failures than this: what the fit is worth (common practice)
    (0.5, "no failures: a bound, not an estimate"),
    (4.5, "indicative: {failures}, the prior on shape carries weight"),
    (9.5, "weak: {failures}"),
    (19.5, "usable: {failures}"),
    (float("inf"), "good: {failures}"),
)

POOR_FIT = 0.01  # p-value from which the verdict speaks: a study tests dozens of groups
TOLD_APART = 20.0  # failures from which it is worth saying that forms of life aren't told apart
SHARED_NOTICED = 0.25  # share of failures without a name from which the verdict speaks of them


def describe_fit(
    *,
    failures: float,
    shared_failures: float,
    shape_low: float,
    shape_high: float,
    early_share: float,
    lognormal_gain: float,
    goodness_p: float,
    best_life: str,
) -> str:
    """One sentence on evidence, early lives and wear.

    Parameters
    ----------
    failures : float
        Number of failures; shared ones count as their share.
    shared_failures : float
        Those of them that come from breakdowns in which no part was named.
    shape_low, shape_high : float
        90 % bounds of the shape [-]; NaN where there is none.
    early_share : float
        Share of lives that end early through assembly faults [-], 0 where none was found.
    lognormal_gain : float
        AICc of the Weibull less that of the lognormal; NaN where not compared.
    goodness_p : float
        p-value of the Weibull [0 to 1]; NaN where not tested.
    best_life : str
        Form of life that fits best; "undecided" or blank where none does.
    """
    words = [next(text for limit, text in EVIDENCE_STEPS if failures < limit)]
    if early_share > 0:
        words.append(f"early lives found: {100 * early_share:.1f} % end soon after assembly")
    if failures >= 0.5 and shared_failures > SHARED_NOTICED * failures:
        words.append(
            f"{shared_failures:.3g} of them only shared out from breakdowns that named no part"
        )
    if failures >= 0.5:
        words.append(_wear_words(shape_low, shape_high))
    words += _form_words(failures, lognormal_gain, goodness_p, best_life)
    return "; ".join(words).format(failures=_count(failures))


def _form_words(
    failures: float, lognormal_gain: float, goodness_p: float, best_life: str
) -> list[str]:
    words = []
    if best_life == "exponential":
        words.append("a constant failure rate fits as well as wear")
    if lognormal_gain > 2:
        words.append("a lognormal life fits these records better")
    if best_life == "undecided" and failures >= TOLD_APART:
        words.append("which form of life fits best is undecided")
    if goodness_p < POOR_FIT:
        words.append(
            f"the Weibull line fits poorly (p = {goodness_p:.2g}): look at the plot for two "
            "kinds of life in one group"
        )
    return words


def _wear_words(shape_low: float, shape_high: float) -> str:
    if shape_low > 1:
        return "wears out"
    if shape_high < 1.2:
        return "no sign of wear: fails at any age"
    return "wear not shown"


def _count(failures: float) -> str:
    return "1 failure" if failures == 1 else f"{failures:.3g} failures"
