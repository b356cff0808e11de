"""How the answer moves when the records are read otherwise: lives, fits and advice once more."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.alike.changes import split_alike
from pumplife.fits.build import Fits
from pumplife.fits.ratios import fit_reading, ratios_between
from pumplife.lives.actions import Actions
from pumplife.lives.build import Lives, rebuild_lives
from pumplife.lives.history import History, lay_history
from pumplife.lives.marks import make_marks
from pumplife.policy.adopted import adopted_interval
from pumplife.policy.decide import Decision, decide_group, let_go
from pumplife.policy.groups import SideGroup, find_practice
from pumplife.policy.pump import FloatArray
from pumplife.records.audit import AuditLog
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock
from pumplife.weibull.draws import LifeDraws

IntArray = NDArray[np.int64]

OFF_BY = 0.20  # how far assumed usage may be off
SAME = 1e-3  # an answer whose ratios and usage move less than this is not worked out anew
MOST_LIVES = 150_000  # with more, four or five more rounds of the route would take minutes
DRAWS = 40  # lives per group for the intervals, evenly taken from those of the study
SENSITIVITY_COLUMNS = (
    "change", "service", "size_mm", "side", "kit", "hazard", "main_part", "lives_used",
    "scale_ratio", "shape_ratio", "interval_as_is", "interval", "weeks_as_is", "interval_weeks",
    "saving_as_is", "saving_per_year", "note",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """The records read in one way.

    Attributes
    ----------
    change : str
        What differs from the study, in words.
    clock : UsageClock
    lives : Lives
    """

    change: str
    clock: UsageClock
    lives: Lives

    def __repr__(self) -> str:
        return f"Reading({self.change!r}, {len(self.lives.table)} lives)"


def try_readings(
    records: Records, clock: UsageClock, lives: Lives, fits: Fits, groups: Sequence[SideGroup]
) -> pd.DataFrame:
    """Run lives, fits and advice again with one thing changed at a time.

    What is changed: assumed usage off by 20 % either way; every kit taken to have renewed all it
    holds, whatever findings say; lives of measured usage only. Fits are maximum likelihood within
    the study's groups (with few failures at the study's shape); intervals come from a tenth of
    the study's draws, moved by the ratio of these estimates, for the study as it is and for what
    is changed alike.

    Parameters
    ----------
    records, clock, lives, fits
        Of the study.
    groups : sequence of SideGroup
        Of its advice.

    Returns
    -------
    DataFrame
        `SENSITIVITY_COLUMNS`: one row per change and pump group, or one row with a note where a
        change has nothing to act on. Ages and intervals in [usage units], weeks at the median
        pump, savings in [money a year].
    """
    if lives.gathered is None or "intervals" in records.withheld:
        return pd.DataFrame(columns=list(SENSITIVITY_COLUMNS))
    if len(lives.table) > MOST_LIVES:
        note = f"Not tried: the plant has more than {MOST_LIVES:,} lives."
        return _table([{"change": "assumed usage, kits, measured lives only", "note": note}])
    silent = replace(records, log=AuditLog())
    keys = fits.table.assign(shape=np.median(fits.draws.shape, axis=1))
    few = _thin(fits.draws)
    as_is = fit_reading(lives.table, keys)
    base = [(group, _decide(silent, group)) for group in _with_lives(groups, few)]
    rows: list[dict[str, Any]] = []
    for reading, (change, why_not) in _readings(records, clock, lives):
        if reading is None:
            rows.append({"change": change, "note": why_not})
            continue
        found = fit_reading(reading.lives.table, keys)
        ratios = ratios_between(as_is, found, keys)
        rows += [
            _row(reading.change, one, _try(silent, one, reading, few, ratios), ratios, found.lives)
            for one in base
        ]
    return _table(rows)


def _table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    table = pd.DataFrame(rows).reindex(columns=list(SENSITIVITY_COLUMNS))
    words = ["change", "service", "side", "kit", "hazard", "main_part", "note"]
    table[words] = table[words].fillna("").astype(object)
    return table


def _readings(
    records: Records, clock: UsageClock, lives: Lives
) -> Iterator[tuple[Reading | None, tuple[str, str]]]:
    """The readings tried, or None with the change and why it isn't.

    Lives are split at the same lasting events as the study's, so that like is beside like.
    """
    assert lives.gathered is not None, "checked before"
    history, table = lay_history(lives.gathered, np.arange(len(records.pumps))), lives.table
    words = f"assumed usage {100 * OFF_BY:.0f} %"
    if not table["assumed_share"].max() > 0:
        yield None, (f"{words} lower or higher", "No usage is assumed.")
    else:
        for way, factor in (("lower", 1.0 - OFF_BY), ("higher", 1.0 + OFF_BY)):
            other = replace(clock, assumed_factor=factor)
            again = split_alike(records, rebuild_lives(replace(history, clock=other)), lives)
            yield Reading(change=f"{words} {way}", clock=other, lives=again), ("", "")
    change = "every kit renewed all it holds, whatever findings say"
    whole = _all_renewed(history)
    if whole is None:
        yield None, (change, "No finding says that a part of a fitted kit was kept.")
    else:
        again = split_alike(records, rebuild_lives(whole), lives)
        yield Reading(change=change, clock=clock, lives=again), ("", "")
    yield _measured_only(clock, lives)


def _measured_only(clock: UsageClock, lives: Lives) -> tuple[Reading | None, tuple[str, str]]:
    """Lives whose usage a meter vouches for throughout."""
    change = "lives of measured usage only"
    grade = lives.table["usage_grade"].eq("measured")
    if grade.all() or not grade.any():
        which = "Every" if grade.all() else "No"
        return None, (change, f"{which} life is of measured usage.")
    kept = replace(lives, table=lives.table[grade].reset_index(drop=True))
    return Reading(change=change, clock=clock, lives=kept), ("", "")


def _all_renewed(history: History) -> History | None:
    """The history with every position that a fitted kit holds renewed; None where it is so."""
    slots = history.actions.slots
    kept = slots["kitted"] & (slots["action"] == "kept")
    if not kept.any():
        return None
    actions = Actions(
        slots=slots.assign(action=slots["action"].mask(kept, "renewed")),
        counts=history.actions.counts,
        kits=history.actions.kits,
        findings=history.actions.findings,
    )
    marks, unplaced = make_marks(history.visits, history.tickets, history.positions, actions)
    return replace(history, actions=actions, marks=marks, unplaced=unplaced)


def _thin(draws: LifeDraws) -> LifeDraws:
    """Every so many of the draws."""
    step = max(1, draws.shape.shape[1] // DRAWS)
    return draws[:, ::step]


def _move(draws: LifeDraws, shape: FloatArray, scale: FloatArray) -> LifeDraws:
    """The draws with shape and scale of wear, and the mean early life, times the ratios."""
    return LifeDraws(
        early_share=draws.early_share,
        early_scale=draws.early_scale * scale[:, None],
        shape=draws.shape * shape[:, None],
        scale=draws.scale * scale[:, None],
    )


def _with_lives(groups: Sequence[SideGroup], draws: LifeDraws) -> Iterator[SideGroup]:
    for group in groups:
        yield replace(group, lives=draws[np.maximum(group.fit_rows, 0)], alone=_thin(group.alone))


def _try(
    records: Records,
    base: tuple[SideGroup, Decision | None],
    reading: Reading,
    draws: LifeDraws,
    ratios: tuple[FloatArray, FloatArray],
) -> tuple[SideGroup, Decision | None]:
    """One group by another reading; as the study has it where nothing of it moved."""
    group, before = base
    if before is None:
        return base
    group = _with_usage(group, reading, records.plant.window)
    fit = group.fit_rows
    still = max(float(np.abs(np.log(ratio[fit])).max()) for ratio in ratios) < SAME
    if still and np.allclose(group.rate, base[0].rate, rtol=SAME):
        return base
    own = [ratio[fit] for ratio in ratios]
    group = replace(group, lives=_move(draws[fit], *own), alone=_move(group.alone, *own))
    return group, _decide(records, group)


def _with_usage(
    group: SideGroup, reading: Reading, window: Callable[[str], tuple[float, float]]
) -> SideGroup:
    """The group with usage a day, planned ages and ages of today by another reading."""
    clock, visits, known = reading.clock, reading.lives.visits, group.clock_known
    mine = (visits["side"] == group.side) & (visits["service"] == group.service)
    mine &= visits["pump"].isin(group.pumps)
    last = np.array([window(site)[1] for site in group.site[known]])
    now = clock.usage(group.pumps[known], last)
    now = now - clock.usage(group.pumps[known], group.clock_day[known])
    planned, kit_share = find_practice(visits[mine], now)
    rate = clock.rate[group.pumps]
    return replace(
        group,
        rate=np.where(np.isfinite(rate), rate, group.rate),
        planned=planned,
        kit_share=kit_share,
    )


def _decide(records: Records, group: SideGroup) -> Decision | None:
    if group.missing:
        return None
    decision = decide_group(
        group,
        release_target=records.plant.hazardous_failure_probability,
        adopted_interval=adopted_interval(records, group),
    )
    return let_go(decision)


def _row(
    change: str,
    as_is: tuple[SideGroup, Decision | None],
    tried: tuple[SideGroup, Decision | None],
    ratios: tuple[FloatArray, FloatArray],
    lives: IntArray,
) -> dict[str, Any]:
    """One change in one pump group."""
    (group, before), (other, after) = as_is, tried
    row: dict[str, Any] = {
        "change": change,
        "service": group.service,
        "size_mm": group.size_mm,
        "side": group.side,
        "kit": group.kit,
        "hazard": group.hazard,
        "note": group.missing,
    }
    if before is None or after is None:
        return row
    main = int(np.argmax(before.advice.at_failure.incidence[0].mean(axis=1)))
    fit = int(group.fit_rows[main])
    row |= {
        "main_part": group.part[main],
        "lives_used": int(lives[fit]),
        "scale_ratio": float(ratios[1][fit]),
        "shape_ratio": float(ratios[0][fit]),
        "note": _say_change(before, after, int(lives[fit])),
    }
    return row | _answer(group, before, "_as_is") | _answer(other, after, "")


def _answer(group: SideGroup, decision: Decision, as_is: str) -> dict[str, float]:
    names = ("interval", "weeks", "saving") if as_is else ("interval", "interval_weeks", "")
    usage, interval = float(group.usage_per_year.sum()), decision.interval
    interval = interval if np.isfinite(interval) else np.nan
    saving = usage * float((decision.today.money - decision.advised.money).mean())
    return {
        f"{names[0]}{as_is}": interval,
        f"{names[1]}{as_is}": interval / (7.0 * float(np.median(group.rate))),
        "saving_as_is" if as_is else "saving_per_year": saving,
    }


def _say_change(before: Decision, after: Decision, lives: int) -> str:
    """What becomes of the advice, in words."""
    if not lives:
        return "No such life: nothing was changed."
    if before.policy != after.policy:
        return f"{before.policy} becomes {after.policy}."
    if not np.isfinite(before.interval):
        return "The advice stays."
    step = after.interval / before.interval - 1.0
    if abs(step) < 0.01:
        return "The interval stays within 1 %."
    return f"The interval becomes {100 * abs(step):.0f} % {'longer' if step > 0 else 'shorter'}."
