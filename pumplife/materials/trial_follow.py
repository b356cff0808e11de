"""Running trials: failures so far and needed, ratio, what each look decides, expected end."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from pumplife.materials.confirmed import CONFIRMED, is_confirmed
from pumplife.materials.trial_check import read_trials
from pumplife.materials.trial_lives import (
    Running,
    begin_trial,
    compare_until,
    know_until,
    score_until,
)
from pumplife.materials.trial_looks import (
    FUTILE_BELOW,
    HARM_EVIDENCE,
    chance_still,
    weigh_harm,
)
from pumplife.materials.trial_pairs import say_followed
from pumplife.records.duty import Duty
from pumplife.records.read import Records

if TYPE_CHECKING:
    from pumplife.fits.build import Fits
    from pumplife.weibull.draws import LifeDraws

Floats = NDArray[np.float64]

GO_ON, SHOWN, FUTILE = "go on", "shown", "futile"
STOP, OVER = "stop for safety", "ended, not shown"
NOT_BEGUN, NO_WAY = "not begun", "can't be judged"
CONFIDENCE = 0.90
TRIAL_COLUMNS = [
    "trial_id", "service", "part", "material", "variant", "reference", "started_on", "ends_on",
    "pumps", "reference_pumps", "pairs", "followed_as", "failures", "reference_failures", "events",
    "events_needed", "wanted_ratio", "life_ratio", "ratio_low", "ratio_high", "looks_used", "looks",
    "decision", "expected_end", "compatibility_confirmed", "why",
]  # fmt: skip
LOOK_COLUMNS = [
    "trial_id", "look", "looked_on", "followed_as", "events", "events_needed", "share", "score",
    "bound", "spent", "decision",
]  # fmt: skip


def follow_trials(
    records: Records, duty: Duty, facts: pd.DataFrame, fits: Fits
) -> dict[str, pd.DataFrame]:
    """Follow the trials that the plant has written down.

    A trial is judged at its own looks alone, however often a study is run: after equal shares of
    the failures needed, as the records stood on those days, and at its end.

    Parameters
    ----------
    records : Records
        Its audit gets what is wrong with the tables trials and trial_pumps.
    duty : Duty
    facts : DataFrame
        From `gather_facts`.
    fits : Fits
        The reference's life tells how many failures are needed, and how many releases to expect.

    Returns
    -------
    dict of DataFrame
        trials (`TRIAL_COLUMNS`) and trial_looks (`LOOK_COLUMNS`).
    """
    rows: list[dict[str, Any]] = []
    looks: list[dict[str, Any]] = []
    for trial in read_trials(records, duty, set(facts["part"])):
        running = begin_trial(records, duty, trial, facts, fits)
        made = list(_look(running)) if running.needed > 0.0 else []
        looks += [{"trial_id": trial.trial_id, **one} for one in made]
        rows.append(_tell(records, running, made))
    return {
        "trials": pd.DataFrame(rows, columns=TRIAL_COLUMNS),
        "trial_looks": pd.DataFrame(looks, columns=LOOK_COLUMNS),
    }


def _look_days(running: Running) -> list[tuple[pd.Timestamp, float]]:
    """Days on which the trial is looked at so far, and the failures by then; the end is one."""
    failed = running.lives[running.lives["failures"] > 0.0].sort_values("end", kind="stable")
    total = failed["failures"].cumsum().to_numpy(float)
    days = []
    for asked in running.looks.share * running.needed:
        place = int(np.searchsorted(total, asked - 1e-9))
        if place < len(total) and failed["end"].iloc[place] <= running.last:
            days.append((failed["end"].iloc[place], float(total[place])))
    if running.over and len(days) < len(running.looks.share):
        days.append(
            (running.last, float(know_until(running.lives, running.last)["failures"].sum()))
        )
    return days


def _look(running: Running) -> Iterator[dict[str, Any]]:
    """Every look so far, up to the one that ends the trial."""
    days = _look_days(running)
    looks = running.looks
    every = len(looks.share)
    for place, (day, events) in enumerate(days):
        final = place == every - 1 or (running.over and place == len(days) - 1)
        bound = float(looks.bound[-1 if final else place])
        share = min(events / running.needed, 1.0)
        score = score_until(running.lives, running.trial.kind, day, running.witness)
        decision = SHOWN if score >= bound else OVER if final else GO_ON
        if decision == GO_ON and _is_futile(running, score, share):
            decision = FUTILE
        yield {
            "look": place + 1,
            "looked_on": day,
            "followed_as": _followed(running),
            "events": events,
            "events_needed": running.needed,
            "share": share,
            "score": score,
            "bound": bound,
            "spent": float(looks.spent[-1 if final else place]),
            "decision": decision,
        }
        if decision != GO_ON:
            return


def _is_futile(running: Running, score: float, share: float) -> bool:
    if not np.isfinite(score) or share >= 1.0:
        return False
    reach = float(special.ndtri(running.risks[0]) - special.ndtri(running.risks[1]))
    return bool(chance_still(score, share, running.looks, reach) < FUTILE_BELOW)


def find_harm(
    lives: pd.DataFrame, tested: NDArray[np.bool_], life: LifeDraws
) -> tuple[pd.Timestamp | None, float]:
    """Find the day on which releases of the material on trial became too many to go on.

    Parameters
    ----------
    lives : DataFrame
        Of the trial: start, end, lower, upper, weight, failures.
    tested : bool array (rows,)
        Of the material on trial.
    life : LifeDraws (draws,)
        Of the reference.

    Returns
    -------
    day : Timestamp or None
    evidence : float
        The largest ratio of chances so far, see `weigh_harm`.
    """
    mine = lives[tested]
    days = np.sort(mine.loc[mine["failures"] > 0.0, "end"].unique())
    evidence = np.zeros(len(days))
    for place, day in enumerate(days):
        known = know_until(mine, pd.Timestamp(day))
        weight = known["weight"].to_numpy(float)
        alive = life.survival(known["lower"].to_numpy(float)[:, None])
        due = weight @ -np.log(np.maximum(alive, 1e-300))
        evidence[place] = float(weigh_harm(known["failures"].sum(), due).mean())
    over = np.flatnonzero(evidence >= HARM_EVIDENCE)
    day = pd.Timestamp(days[over[0]]) if len(over) else None
    return day, float(evidence.max(initial=0.0))


def _tell(records: Records, running: Running, looks: list[dict[str, Any]]) -> dict[str, Any]:
    """The row of a trial."""
    trial = running.trial
    now = know_until(running.lives, running.last)
    tested = now["kind"].eq(trial.kind).to_numpy()
    decision, why = _decide(running, looks)
    failures = [float(now.loc[mark, "failures"].sum()) for mark in (tested, ~tested)]
    confirmed = is_confirmed(records, trial.material, trial.service, trial.part)
    if decision == SHOWN and confirmed != CONFIRMED:
        why += "; no advice: nobody has confirmed the material for this service"
    return {
        "trial_id": trial.trial_id,
        "service": trial.service,
        "part": trial.part,
        "material": trial.material,
        "variant": trial.variant,
        "reference": trial.reference,
        "started_on": trial.starts,
        "ends_on": trial.ends,
        "pumps": len(trial.tested),
        "reference_pumps": len(trial.other),
        "pairs": len(trial.pairs),
        "followed_as": _followed(running),
        "failures": failures[0],
        "reference_failures": failures[1],
        "events": sum(failures),
        "events_needed": running.needed,
        "wanted_ratio": trial.wanted,
        **_say_ratio(running),
        "looks_used": len(looks),
        "looks": trial.looks,
        "decision": decision,
        "expected_end": _expect_end(running, sum(failures)) if decision == GO_ON else pd.NaT,
        "compatibility_confirmed": confirmed,
        "why": why,
    }


def _followed(running: Running) -> str:
    trial = running.trial
    return say_followed(trial.pairs, (*trial.tested, *trial.other))


def _say_ratio(running: Running) -> dict[str, float]:
    """The ratio today with 90 % bounds, whatever the looks say of it."""
    blank = dict.fromkeys(("life_ratio", "ratio_low", "ratio_high"), np.nan)
    if running.trial.why_not or running.tested.all() or not running.tested.any():
        return blank
    ratio = compare_until(running, running.last, CONFIDENCE)
    with np.errstate(over="ignore"):
        told = np.exp([ratio.estimate, ratio.low, ratio.high])
    told = np.where((told > 0.0) & np.isfinite(told), told, np.nan)
    return dict(zip(blank, told.tolist(), strict=True))


def _decide(running: Running, looks: list[dict[str, Any]]) -> tuple[str, str]:
    """What to do with a trial, and why."""
    trial = running.trial
    if trial.why_not:
        return NO_WAY, trial.why_not
    if trial.starts > running.today:
        return NOT_BEGUN, f"it begins on {trial.starts:%Y-%m-%d}"
    if running.hazardous and running.life is not None:
        day, evidence = find_harm(running.lives, running.tested, running.life)
        if day is not None:
            return STOP, (
                f"hazardous service: on {day:%Y-%m-%d} the releases of {trial.kind} were "
                f"{evidence:.0f} times likelier from a material that fails twice as often as "
                f"{trial.reference}; 20 times ends a trial"
            )
    if not running.needed > 0.0:
        return NO_WAY, _say_no_number(running)
    last = looks[-1] if looks else None
    if last is not None and last["decision"] != GO_ON:
        return str(last["decision"]), _say_look(running, last)
    return GO_ON, "too early for a look" if last is None else _say_look(running, last)


def _say_no_number(running: Running) -> str:
    if running.life is None:
        return f"no life of {running.trial.reference} was fitted in {running.trial.service}"
    return (
        f"like pumps may differ more than {running.trial.wanted:g} times in life would show in "
        "so few of them, however many failures: add pumps"
    )


def _say_look(running: Running, look: dict[str, Any]) -> str:
    words = (
        f"look {look['look']} of {running.trial.looks} on {look['looked_on']:%Y-%m-%d}, "
        f"{look['events']:.3g} of {running.needed:.0f} failures: "
    )
    if not np.isfinite(look["score"]):
        return words + "these failures tell nothing of the ratio yet"
    return words + f"score {look['score']:.2f}, shown from {look['bound']:.2f}"


def _expect_end(running: Running, events: float) -> pd.Timestamp:
    """When the failures needed will have come at their pace so far, or the trial's own end."""
    days = (running.last - running.trial.starts) / pd.Timedelta(days=1)
    if events <= 0.0 or days <= 0.0:
        return running.trial.ends
    there = running.trial.starts + pd.Timedelta(days=min(days * running.needed / events, 36500.0))
    there = there.normalize()
    return there if pd.isna(running.trial.ends) else min(there, running.trial.ends)
