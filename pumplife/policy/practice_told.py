"""What the records tell of today's practice: the ages it renews at, and how well it is kept."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.policy.groups import SideGroup
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import BoolArray

KEPT_WITHIN = 0.10  # planned work within this share of the interval keeps to it
FEWEST_PLANNED = 3  # planned renewals from which a practice can be told
PRACTICE_COLUMNS = (
    "today_interval_low", "today_interval_median", "today_interval_high", "today_interval_usual",
    "planned_renewals", "compliance", "missed_share", "failures_past_interval",
)  # fmt: skip


def tell_practice(lives: Lives, group: SideGroup, adopted: float = np.nan) -> dict[str, float]:
    """Today's interval and how well it is kept, one group.

    Parameters
    ----------
    lives : Lives
    group : SideGroup
    adopted : float
        The adopted interval [usage]; NaN or inf where there is none, and the commonest planned
        age stands in.

    Returns
    -------
    dict of str to float
        `PRACTICE_COLUMNS`: today_interval_low, _median and _high, the P10, P50 and P90 of the
        age at planned renewals, failures censoring it; today_interval_usual, the adopted
        interval, else the age with most planned renewals within 10 % [usage]; planned_renewals;
        compliance, their share within 10 % of it; missed_share, of the sides that came to be due
        those that ran past it by over 10 %, whatever ended them; failures_past_interval, how many
        of these failed. NaN where fewer than 3 renewals were planned.
    """
    age, planned, failed = _ends(lives, group)
    blank = dict.fromkeys(PRACTICE_COLUMNS, np.nan) | {"planned_renewals": float(planned.sum())}
    if planned.sum() < FEWEST_PLANNED:
        return blank
    low, median, high = _quantiles(group, (0.1, 0.5, 0.9))
    usual = adopted if np.isfinite(adopted) else usual_age(age[planned])
    kept, past = _is_near(age, usual) & planned, age > (1.0 + KEPT_WITHIN) * usual
    due = kept.sum() + past.sum()
    return blank | {
        "today_interval_low": low,
        "today_interval_median": median,
        "today_interval_high": high,
        "today_interval_usual": usual,
        "compliance": float(kept.sum() / planned.sum()),
        "missed_share": float(past.sum() / due) if due else np.nan,
        "failures_past_interval": float((past & failed).sum()),
    }


def usual_age(ages: FloatArray) -> float:
    """The middle of the planned ages around which most lie within 10 % [usage]."""
    ages = np.sort(ages)
    first = np.searchsorted(ages, ages * (1.0 - KEPT_WITHIN))
    last = np.searchsorted(ages, ages * (1.0 + KEPT_WITHIN), side="right")
    most = int(np.argmax(last - first))
    return float(np.median(ages[first[most] : last[most]]))


def _is_near(age: FloatArray, usual: float) -> BoolArray:
    return np.asarray(np.abs(age / usual - 1.0) <= KEPT_WITHIN)


def _quantiles(group: SideGroup, shares: tuple[float, ...]) -> FloatArray:
    """Quantiles of the planned age, among sides that don't fail before, [usage]."""
    finite = np.isfinite(group.planned.ages)
    ages, weights = group.planned.ages[finite], group.planned.weights[finite]
    reached = np.cumsum(weights) / weights.sum()
    return np.asarray(ages[np.searchsorted(reached, np.array(shares) - 1e-12)])


def _ends(lives: Lives, group: SideGroup) -> tuple[FloatArray, BoolArray, BoolArray]:
    """Age of the kit at every whole renewal, failure and today, planned or failed or neither."""
    visits: pd.DataFrame = lives.visits
    mine = visits["pump"].isin(group.pumps) & (visits["side"] == group.side)
    mine &= (visits["service"] == group.service) & visits["renewed"].astype(bool)
    rows = visits[mine]
    whole = (rows["whole"].astype(bool) | ~rows["kit"].isin(["", "none"])).to_numpy()
    broken = rows["breakdown"].to_numpy(bool)
    now = group.clock_age[group.clock_known]
    age = np.concatenate([rows["age_of_kit"].to_numpy(float), now])
    planned = np.concatenate([whole & ~broken, np.zeros(now.size, bool)])
    failed = np.concatenate([broken, np.zeros(now.size, bool)])
    told = np.isfinite(age) & (age > 0.0) & np.concatenate([whole | broken, now > 0.0])
    return age[told], planned[told], failed[told]
