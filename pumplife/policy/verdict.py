"""The advice for a group in plain words."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pumplife.fits.groups import EARLY_NOTICED
from pumplife.fits.rules import BORROWED, BOUND, TOO_FEW
from pumplife.policy.decide import FAILED_PART, PLANNED, SEEN, Decision
from pumplife.policy.evidence import KEEP_TODAYS
from pumplife.policy.groups import SideGroup
from pumplife.policy.limits import MAKER, OWN_RELEASE, OWN_WEAR_RELEASE, RELEASE, WEAR_RELEASE
from pumplife.policy.say_money import planned_is_dearer

OWN = (
    "by this service's own failures alone: with so few of them it may be harsher than the services "
    "that lend it theirs."
)
THIN = ("no failures", "indicative", "weak")  # evidence of which the verdict speaks


def describe_decision(
    group: SideGroup, decision: Decision, fits: pd.DataFrame, *, usage_unit: str, target: float
) -> str:
    """What to do and how sure it is, a few sentences.

    What to do comes first, or what to record where failures are too few to say. Early lives
    follow: wear is judged apart from them throughout, and their cure is worth more than any
    interval.
    """
    words = [
        _policy_words(group, decision, usage_unit),
        _limit_words(decision, target),
        _own_limit_words(group, decision, usage_unit),
        _early_words(group),
        _dearer_words(decision),
        _practice_words(decision),
        _evidence_words(group, decision, fits, usage_unit),
    ]
    return " ".join(sentence for sentence in words if sentence)


def _early_words(group: SideGroup) -> str:
    """Say which parts die early."""
    shares = group.lives.early_share.mean(axis=1)
    found = [
        f"{_percent(share, 1)} of new {part}s"
        for part, share in zip(group.part, shares, strict=True)
        if share > EARLY_NOTICED
    ]
    if not found:
        return ""
    return (
        f"Look at assembly: about {' and '.join(dict.fromkeys(found))} fail soon after "
        "fitting, which no interval cures; wear is judged apart from these."
    )


def _policy_words(group: SideGroup, decision: Decision, unit: str) -> str:
    """Say what to do."""
    advice = decision.advice
    if not group.evidence.enough:
        return _thin_words(group, decision, unit)
    if decision.policy == PLANNED:
        weeks = decision.interval / (7.0 * float(np.median(group.rate)))
        return (
            f"Renew the whole side every {_round(decision.interval)} {unit} (about {weeks:.0f} "
            f"weeks at the median pump); {_band_words(decision, unit)}."
        )
    if decision.policy == FAILED_PART:
        dearer = decision.run_to_failure.money.mean() / decision.failed_part.money.mean() - 1.0
        kits = decision.advice.cost_rate.mean() / decision.failed_part.money.mean() - 1.0
        planned = (
            f"planned kits at their best {_percent(kits)} more"
            if np.isfinite(decision.advice.interval)
            else "and planned work doesn't pay"
        )
        return (
            "Run to failure and renew the failed part alone: the whole kit at each failure costs "
            f"{_percent(dearer)} more, {planned}."
        )
    if advice.prob_planning_pays < 0.5:
        return (
            "Run to failure, renewing the whole side then: planned work is more likely dearer "
            f"(chance that it pays: {_percent(advice.prob_planning_pays)})."
        )
    return (
        "Run to failure, renewing the whole side then: planned work would save less than 1 % of "
        "the cost."
    )


def _thin_words(group: SideGroup, decision: Decision, unit: str) -> str:
    """Say what holds while failures are too few, and what to record."""
    seen = f"{group.failures:.3g} failures" if group.failures >= SEEN else "no failure"
    if decision.policy == KEEP_TODAYS:
        do = f"Keep today's interval of {_round(decision.interval)} {unit}"
    elif np.isfinite(decision.interval):
        do = f"Renew the whole side every {_round(decision.interval)} {unit}, the limit, for now"
    else:
        do = "Run to failure for now"
    verb = "are" if group.failures >= SEEN else "is"
    return (
        f"{do}: {seen} {verb} on record, too few to support another interval. From now on record "
        f"{_list(group.evidence.record)}."
    )


def _list(words: tuple[str, ...]) -> str:
    """Words with commas and an "and"."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def _own_limit_words(group: SideGroup, decision: Decision, unit: str) -> str:
    """Say that some pumps are renewed sooner by a limit of their own."""
    sooner = group.own_limit < decision.interval
    count = int(sooner.sum())
    if not count:
        return ""
    least = _round(float(group.own_limit[sooner].min()))
    return (
        f"{count} of its pumps keep{'s' if count == 1 else ''} a maker's or legal limit of "
        f"{'its' if count == 1 else 'their'} own, from {least} {unit}; the due list has it."
    )


def _dearer_words(decision: Decision) -> str:
    """Say that planned work is no cheaper than a breakdown."""
    if not planned_is_dearer(decision):
        return ""
    return (
        "By the costs given a planned rebuild is no cheaper than a breakdown, so no planned work "
        "pays: check them in the table costs."
    )


def _band_words(decision: Decision, unit: str) -> str:
    """Say how far the interval may move."""
    low, high = decision.advice.near_best_low, decision.advice.near_best_high
    if high <= decision.interval * (1.0 + 1e-9):
        return f"from {_round(low)} {unit} on the cost stays within 5 %, later is beyond the limit"
    if np.isinf(high):
        return f"anything above {_round(low)} {unit} is within 5 % of the least cost"
    return f"from {_round(low)} to {_round(high)} {unit} the cost stays within 5 %"


def _limit_words(decision: Decision, target: float) -> str:
    """Say which limit decides, or can't be kept."""
    advice, most = decision.advice, _percent(target)
    words = {
        RELEASE: f"The limit on release of fluid ({most} within one interval, at the 95 % bound) "
        "sets this, not cost.",
        WEAR_RELEASE: f"The interval holds releases by wear to {most} within one interval (at the "
        "95 % bound).",
        MAKER: "The maker's or legal limit sets this, not cost.",
        OWN_RELEASE: f"The limit on release of fluid ({most} within one interval, at the 95 % "
        f"bound) sets this, {OWN}",
        OWN_WEAR_RELEASE: f"The interval holds releases by wear to {most} within one interval (at "
        f"the 95 % bound), {OWN}",
    }.get(advice.binding_limit, "")
    if advice.limits.get(RELEASE, np.inf) > 0.0:
        return words
    if advice.binding_limit == OWN_RELEASE:
        words = f"The interval is the longest that holds it {OWN}"
    return (
        f"No interval keeps the chance of a release within one interval at {most}, because of the "
        "failures soon after fitting: cure these, contain the leak or change the duty. "
        f"{words} With these failures it is in column release_prob."
    ).strip()


def _practice_words(decision: Decision) -> str:
    """Say when today's practice is already as good."""
    today, advised = decision.today.money, decision.advised.money
    saved = 1.0 - advised.mean() / today.mean()
    if abs(saved) < 0.02:
        return "Today's practice costs much the same."
    if saved < 0.0:
        return (
            "Today's practice is cheaper by the model, but doesn't keep the limit."
            if decision.advice.binding_limit != "cost"
            else "Today's practice is cheaper by the model: look at what it does differently."
        )
    return f"Today's practice costs {_percent(today.mean() / advised.mean() - 1.0)} more."


def _evidence_words(group: SideGroup, decision: Decision, fits: pd.DataFrame, unit: str) -> str:
    """Say what stands behind it, and whether it reaches beyond what was seen."""
    rows = fits.iloc[np.unique(group.fit_rows)]
    main = int(np.argmax(decision.advice.at_failure.incidence[0].mean(axis=1)))
    words = [_worth_words(fits.iloc[int(group.fit_rows[main])], float(rows["failures"].sum()))]
    longest = float(rows["longest_life"].max())
    if np.isfinite(decision.interval) and decision.interval > longest:
        words.append(
            f"The interval lies beyond the longest life seen ({_round(longest)} {unit}), where the "
            "lives are extrapolated: approach it in steps."
        )
    return " ".join(word for word in words if word)


def _worth_words(main: pd.Series[Any], failures: float) -> str:
    """Say what the fit of the part that fails first most often is worth, where that is little."""
    if failures < SEEN:
        return "No failure seen yet: these lives come from like groups and the assumed shape."
    thin, standing = main["evidence"] in THIN, main["standing"]
    if not thin and standing not in (BORROWED, TOO_FEW):
        return ""
    if standing == BORROWED:
        standing = f"{standing} ({_percent(main['borrowed_share'])})"
    count = f"{main['failures']:.3g} failure{'' if main['failures'] == 1 else 's'}, "
    told = "not seen failing yet" if main["standing"] == BOUND else count + standing
    return f"Evidence on the {main['part']}, which fails most often: {main['evidence']}; {told}."


def _percent(share: float, digits: int = 0) -> str:
    return f"{100.0 * share:.{digits}f} %"


def _round(value: float) -> str:
    """Two or three significant digits with thousands marks."""
    if not np.isfinite(value) or value <= 0.0:
        return f"{value:g}"
    digits = max(0, 2 - int(np.floor(np.log10(value))))
    scale = 10.0 ** (2 - int(np.floor(np.log10(value))))
    return f"{np.round(value * scale) / scale:,.{digits}f}"
