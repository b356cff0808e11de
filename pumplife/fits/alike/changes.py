"""Lives before and after a lasting dated event: tested, and split only where they differ."""

from collections.abc import Hashable, Iterable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.alike.holm import holm
from pumplife.fits.alike.question import NO, answer, judge, no_answers, say_part, say_ratio
from pumplife.fits.groups import GROUP_KEYS, plain_rows
from pumplife.lives.build import Lives
from pumplife.lives.events import dated_events, name_period, split_lives
from pumplife.records.read import Records
from pumplife.weibull.contrast import ContrastRows, contrast_lives

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FEWEST_FAILURES = 8.0  # before and after together, below which a group isn't asked
FEWEST_EACH = 3.0
WHOLE_GROUP = 0.9  # share of a group's lives that an event must be about to split its fit


def split_where_changed(records: Records, lives: Lives) -> tuple[Lives, pd.DataFrame]:
    """Test every lasting event in every group of lives, and split lives where it shows.

    Parameters
    ----------
    records : Records
        Takes the audit rows: which splits were kept, and which were not.
    lives : Lives

    Returns
    -------
    lives : Lives
        Where the test shows a change for the whole of a group: lives before the event are
        suspended there and stand under `period` "before DATE"; the group goes on with those
        after it.
    likeness : DataFrame
        Rows of the likeness table; `ratio` = life after over life before.
    """
    if lives.dated.empty:
        return lives, no_answers()
    events = dated_events(records, "lasting")
    asked = _ask(lives, events)
    if asked.empty:
        return lives, no_answers()
    asked["p_adjusted"] = holm(asked["p_value"].to_numpy(float))
    asked["alike"] = judge(asked["p_adjusted"])
    asked["kept"] = asked["alike"].eq(NO) & (asked["share"] >= WHOLE_GROUP)
    asked["verdict"] = [_say(row) for row in asked.to_dict("records")]
    for event in _in_order(events):
        chosen = asked[asked["kept"] & (asked["event"] == event.place)]
        if len(chosen):
            lives = _split(records, lives, chosen, event)
    return lives, answer(asked, "dated events")


def split_alike(records: Records, lives: Lives, like: Lives) -> Lives:
    """Lives of another reading of the records, split at the events at which `like` was split.

    Parameters
    ----------
    records : Records
    lives : Lives
        Not split yet.
    like : Lives
        From `split_where_changed`.
    """
    groups = like.table[GROUP_KEYS].drop_duplicates()
    groups = groups[groups["period"] != ""]
    if groups.empty:
        return lives
    for event in _in_order(dated_events(records, "lasting")):
        chosen = groups[groups["period"] == name_period(float(event.day))]
        if len(chosen):
            lives, _ = _split_groups(lives, chosen.assign(period=""), event)
    return lives


def _in_order(events: pd.DataFrame) -> Iterable[Any]:
    return events.sort_values("day", kind="stable").reset_index(names="place").itertuples()


def _ask(lives: Lives, events: pd.DataFrame) -> pd.DataFrame:
    """One row per event and group of lives that it is about, with the contrast."""
    table = lives.table
    code = np.asarray(table.groupby(GROUP_KEYS, sort=True).ngroup(), dtype=np.int64)
    about = table[GROUP_KEYS].assign(code=code).drop_duplicates("code").set_index("code")
    named = table.assign(upper=table["upper"].where(table["event"] < 0, np.inf))
    rows = plain_rows(named, code)
    dated = lives.dated
    life = dated["life"].to_numpy(np.int64)
    pair, group = np.unique(
        np.column_stack([dated["event"], code[life]]), axis=0, return_inverse=True
    )
    group = group.reshape(-1)
    halves = _cut(rows.lower[life], rows.upper[life], rows.entry[life], dated["age"].to_numpy())
    arrays, source, after = halves
    found = contrast_lives(
        ContrastRows(
            lower=arrays[0], upper=arrays[1], entry=arrays[2], weight=np.ones(len(source)),
            marked=after, group=group[source],
            cluster=table["pump"].to_numpy(np.int64)[life[source]],
        ),
        len(pair),
    )  # fmt: skip
    failures = found.failures.sum(axis=1)
    enough = (failures >= FEWEST_FAILURES) & (found.failures.min(axis=1) >= FEWEST_EACH)
    share = np.bincount(group, minlength=len(pair)) / np.bincount(code)[pair[:, 1]]
    bounds = {name: getattr(found, name) for name in ("ratio", "ratio_low", "ratio_high")}
    event = events.loc[pair[:, 0]]
    return (
        about.loc[pair[:, 1]]
        .reset_index(names="code")
        .assign(
            event=pair[:, 0],
            compared=[
                f"since {day:%Y-%m-%d} against before: {what}"
                for day, what in zip(event["happened_on"], event["what"], strict=True)
            ],
            failures=failures,
            share=share,
            p_value=np.where(enough, found.p_value, np.nan),
            **{name: np.where(enough, value, np.nan) for name, value in bounds.items()},
        )
    )


def _cut(
    lower: Floats, upper: Floats, entry: Floats, age: Floats
) -> tuple[tuple[Floats, Floats, Floats], Ints, NDArray[np.bool_]]:
    """Lives cut in two at an age: (lower, upper, entry), the row each came from, and after."""
    reached = np.where(np.isfinite(upper), upper, lower)
    before = age > entry
    astride = np.isfinite(upper) & (lower < age) & (age < reached)
    over = age >= reached
    first = np.flatnonzero(before)
    stop = np.where(over, lower, np.where(astride, np.maximum(lower, entry), age))
    fails = np.where(over, upper, np.inf)
    second = np.flatnonzero(~over & ~astride)
    arrays = (
        np.append(stop[first], lower[second]),
        np.append(fails[first], upper[second]),
        np.append(entry[first], np.maximum(entry, age)[second]),
    )
    source = np.append(first, second)
    return arrays, source, np.append(np.zeros(len(first), bool), np.ones(len(second), bool))


def _split(records: Records, lives: Lives, chosen: pd.DataFrame, event: Any) -> Lives:
    """Split the lives of the chosen groups at one event, and say so."""
    lives, lost = _split_groups(lives, chosen, event)
    for row in chosen.to_dict("records"):
        records.log.add(
            "caution",
            row["verdict"],
            rule="lives_changed",
            table="events",
            row=int(event.row),
            consequence="Its lives are split at that day: today's fit rests on those since then, "
            "the older ones stand in a row of their own"
            + (f"; {lost} failures that may lie on either side count in neither." if lost else "."),
            remedy="See that the event, and nothing else of that time, can have done it.",
        )
    return lives


def _split_groups(lives: Lives, chosen: pd.DataFrame, event: Any) -> tuple[Lives, int]:
    """Split the lives of the chosen groups at one event; also how many failures that lost."""
    keys = chosen[GROUP_KEYS].apply("\x1f".join, axis=1)
    own = lives.table[GROUP_KEYS].apply("\x1f".join, axis=1).isin(set(keys)).to_numpy()
    dated = lives.dated
    mine: pd.DataFrame = dated[
        (dated["event"] == event.place) & own[dated["life"].to_numpy(np.int64)]
    ]
    return split_lives(lives, mine, float(event.day))


def _say(row: dict[Hashable, Any]) -> str:
    where = f"{say_part(row)}, {row['compared']}"
    if not np.isfinite(row["p_value"]):
        return f"{where}: too few failures before and after to tell."
    ratio = say_ratio(row["ratio"], row["ratio_low"], row["ratio_high"])
    if row["alike"] != NO:
        return f"{where}: lives are {ratio} times as long; no difference shown, not split."
    if row["share"] < WHOLE_GROUP:
        return (
            f"{where}: lives are {ratio} times as long; it is about only "
            f"{100 * row['share']:.0f} % of the lives that are fitted together, so it isn't split."
        )
    return f"{where}: lives are {ratio} times as long; split at that day."
