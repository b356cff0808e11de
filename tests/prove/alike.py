"""Proof that unlike lives are seen, and like lives left alone: levels and power, by simulation."""

from collections.abc import Iterator
from types import SimpleNamespace

import numpy as np
import pandas as pd

from pumplife.fits.alike.calendar import compare_years
from pumplife.fits.alike.changes import split_where_changed
from pumplife.fits.alike.expected import failures_seen
from pumplife.fits.alike.holm import holm
from pumplife.fits.alike.lots import compare_fittings
from pumplife.fits.alike.positions import compare_positions
from pumplife.fits.alike.pumps import PumpRatios, add_up, compare_pumps, frailty_p_values
from pumplife.fits.alike.question import BY_CHANCE
from pumplife.lives.build import Lives
from pumplife.lives.trend import lewis_robinson_trend
from pumplife.records.audit import AuditLog
from tests.prove import judge
from tests.prove.fleets import FIRST_DAY, HOURS_A_DAY, fit_plainly, lots_of, run_fleets

Results = Iterator[tuple[judge.Result, int]]

LEVEL = (0.0, 0.065)  # of a 5 % test over 800 fleets: 5 % and two standard deviations
PUMPS = 80


def _share(table: pd.DataFrame) -> tuple[float, int]:
    """Share of single comparisons with p below 5 %, and how many there were."""
    asked = table["p_value"].dropna()
    return float((asked < BY_CHANCE).mean()), len(asked)


def _positions(fleets: int) -> Results:
    for spread in (0.0, 0.35):
        hazard = np.exp(np.random.default_rng(5).normal(0.0, spread * 2.5, (fleets, 20)))
        lives = run_fleets(11, fleets, 20, years=8.0, hazard=hazard)
        fits = fit_plainly(lives)
        share, number = _share(compare_positions(fits, lives))
        words = f"positions alike, pumps' lives spread by {spread:g}: called unlike at 5 %"
        yield judge.within(words, share, number, *LEVEL), fleets
    lives = run_fleets(12, fleets, 20, years=8.0, suction=0.6)
    fits = fit_plainly(lives)
    found = compare_positions(fits, lives)
    share, number = _share(found)
    yield (
        judge.within("suction lasts 0.6 of discharge, 20 pumps: seen", share, number, 0.9, 1),
        fleets,
    )
    inside = ((found["ratio_low"] < 0.6) & (found["ratio_high"] > 0.6)).mean()
    words = "suction lasts 0.6 of discharge: ratio within its 90 % bounds"
    yield judge.within(words, float(inside), number, 0.85, 0.95), fleets


def _years(fleets: int) -> Results:
    lives = run_fleets(21, fleets, 20, years=8.0)
    fits = fit_plainly(lives)
    share, number = _share(compare_years(fits, lives))
    yield (
        judge.within("no trend, all pumps new at first: trend seen at 5 %", share, number, *LEVEL),
        fleets,
    )
    share = _lewis_robinson(lives, 8.0)
    words = "the same by the plain Lewis-Robinson test, pumps pooled"
    yield judge.tell(words, share, fleets), fleets
    lives = run_fleets(22, fleets, 20, years=8.0, life_a_year=0.93)
    fits = fit_plainly(lives)
    found = compare_years(fits, lives)
    share, number = _share(found)
    yield (
        judge.within("lives 7 % shorter each year, 20 pumps: seen", share, number, 0.7, 1.0),
        fleets,
    )
    yield (
        judge.tell(
            "the same: median life a year later, times", float(found["ratio"].median()), number
        ),
        fleets,
    )


def _lewis_robinson(lives: pd.DataFrame, years: float) -> float:
    """Share of fleets to which the plain test gives a trend: failures in calendar time."""
    failed = lives[lives["outcome"] == "failed"]
    days = (failed["end_on"].to_numpy("datetime64[D]") - FIRST_DAY).astype(float)
    failed = failed.assign(day=np.maximum(days, 0.5))
    end = years * 365.25
    told = []
    for _, rows in failed.groupby("service"):
        system, _ = pd.factorize(rows["pump"])
        test = lewis_robinson_trend(system, rows["day"], np.full(system.max() + 1, end + 1.0))
        told.append(test.p_value < BY_CHANCE)
    return float(np.mean(told))


def _changes(fleets: int) -> Results:
    day = 4.0 * 365.25
    happened = pd.Timestamp(FIRST_DAY) + pd.Timedelta(days=day)
    events = pd.DataFrame(
        {"happened_on": [happened], "until": [pd.NaT], "site": "", "service": "",
         "what": "dryer", "kind": "lasting", "row": 2}
    )  # fmt: skip
    for factor, low, high in ((1.0, *LEVEL), (1.6, 0.8, 1.0)):
        table = run_fleets(31, fleets, 20, years=8.0, since=(4.0, factor))
        born = (table["start_on"].to_numpy("datetime64[D]") - FIRST_DAY).astype(float)
        dated = pd.DataFrame({"life": np.arange(len(table)), "event": 0,
                              "age": (day - born) * HOURS_A_DAY})  # fmt: skip
        blank = pd.DataFrame()
        lives = Lives(table=table, now=blank, visits=blank, unseen=blank, dated=dated)
        records = SimpleNamespace(log=AuditLog(), table=lambda name: events)
        _, found = split_where_changed(records, lives)
        share, number = _share(found)
        words = f"parts age {factor:g} times as slowly since an event, 20 pumps: change seen at 5 %"
        yield judge.within(words, share, number, low, high), fleets


def _pumps_of(studies: int, seed: int, *, years: float, bad: float = 1.0) -> list[PumpRatios]:
    """Eighty pumps, the first with so many times the hazard of the others, study by study."""
    hazard = np.ones((studies, PUMPS))
    hazard[:, 0] = bad
    lives = run_fleets(seed, studies, PUMPS, years=years, hazard=hazard)
    fits = fit_plainly(lives)
    seen = failures_seen(fits, lives)
    found = []
    for study in range(studies):
        mine = seen.pump // PUMPS == study
        cells = add_up(
            seen.pump[mine] % PUMPS, seen.group[mine], seen.failed[mine], seen.expected[mine]
        )
        found.append(compare_pumps(cells, PUMPS))
    return found


def _frailty(fleets: int) -> Results:
    for spread, low, high in ((0.0, *LEVEL), (0.5, 0.9, 1.0)):
        hazard = np.exp(np.random.default_rng(6).normal(0.0, spread, (fleets, 30)))
        lives = run_fleets(41, fleets, 30, years=8.0, hazard=hazard)
        fits = fit_plainly(lives)
        seen = failures_seen(fits, lives)
        cells = add_up(seen.pump, seen.group, seen.failed, seen.expected)
        chance = frailty_p_values(cells, cells.group, len(fits.table))
        share = float(np.mean(chance < BY_CHANCE))
        words = f"30 pumps, hazards spread by {spread:g} (log): called unlike at 5 %"
        yield judge.within(words, share, fleets, low, high), fleets


def _ratio_bounds(fleets: int) -> Results:
    """Bounds of the ratios of unlike pumps; told: fits over unlike pumps flatten the shape."""
    for spread in (0.3, 0.5):
        power = 1.0 / spread**2
        hazard = np.random.default_rng(9).gamma(power, 1.0 / power, (fleets, 40))
        lives = run_fleets(71, fleets, 40, years=6.0, hazard=hazard)
        seen = failures_seen(fit_plainly(lives), lives)
        cells = add_up(seen.pump, seen.group, seen.failed, seen.expected)
        ratios = compare_pumps(cells, 40 * fleets)
        true = (hazard / hazard.mean(axis=1, keepdims=True)).reshape(-1)
        inside = np.mean((ratios.ratio_low < true) & (true < ratios.ratio_high))
        words = f"40 pumps a fleet, hazards spread by {spread:g}: own ratio within its 90 % bounds"
        yield judge.tell(words, float(inside), len(true)), fleets


def _bad_actors(studies: int) -> Results:
    equal = _pumps_of(studies, 51, years=7.2)
    any_named = float(np.mean([ratios.named.any() for ratios in equal]))
    expected = float(np.mean([ratios.expected.mean() for ratios in equal]))
    words = f"80 equal pumps, {expected:.1f} failures expected of each"
    yield judge.within(f"{words}: studies that name any", any_named, studies, 0.0, 0.05), studies
    watched = float(np.mean([ratios.watched.mean() for ratios in equal]))
    yield (
        judge.within(f"{words}: share put on the watch list", watched, studies, 0.0, 0.03),
        studies,
    )
    for bad, years, named_least, seen_least in ((2.0, 7.2, None, 0.7), (2.0, 17.0, 0.7, 0.9),
                                                (3.0, 8.8, 0.7, 0.9)):  # fmt: skip
        found = _pumps_of(studies, 52, years=years, bad=bad)
        due = np.mean([ratios.expected[0] for ratios in found])
        words = f"one of 80 at {bad:g} times the hazard, {due:.1f} failures expected of it"
        named = float(np.mean([ratios.named[0] for ratios in found]))
        seen = float(np.mean([ratios.named[0] | ratios.watched[0] for ratios in found]))
        if named_least is None:
            yield judge.tell(f"{words}: named", named, studies), studies
            ceiling = _best_possible(equal, found, bad)
            yield (
                judge.tell(f"{words}: named by the best test there can be", ceiling, studies),
                studies,
            )
        else:
            yield judge.within(f"{words}: named", named, studies, named_least, 1.0), studies
        yield judge.within(f"{words}: named or watched", seen, studies, seen_least, 1.0), studies
        yield (
            judge.tell(
                f"{words}: median ratio", float(np.median([r.ratio[0] for r in found])), studies
            ),
            studies,
        )


def _best_possible(equal: list[PumpRatios], found: list[PumpRatios], bad: float) -> float:
    """Share named by the likelihood ratio that knows the factor, at 1 false study in 20."""

    def log_odds(ratios: PumpRatios) -> np.ndarray:
        return np.asarray(ratios.failed * np.log(bad) - (bad - 1.0) * ratios.expected)

    limit = np.quantile([log_odds(ratios).max() for ratios in equal], 0.95)
    return float(np.mean([log_odds(ratios)[0] > limit for ratios in found]))


def _lots(studies: int) -> Results:
    for bad, every, low, high in ((0.0, 0.0, 0.0, 0.05), (0.0, 0.06, 0.0, 0.05),
                                  (0.25, 0.0, 0.8, 1.0)):  # fmt: skip
        lives = lots_of(61, studies, bad=bad, every=every)
        fits = fit_plainly(lives)
        found = compare_fittings(fits, lives, "lot")
        found["p_adjusted"] = found.groupby("side")["p_value"].transform(
            lambda column: holm(column.to_numpy(float))
        )
        flagged = found["p_adjusted"] < BY_CHANCE
        if bad:
            share = float(flagged[found["compared"] == "L00"].mean())
            words = f"one of 20 lots with {100 * bad:g} % early, 12 fittings a lot: flagged"
        else:
            share = float(flagged.groupby(found["side"]).any().mean())
            words = f"20 like lots, {100 * every:g} % early: studies that flag any"
        yield judge.within(words, share, studies, low, high), studies


def prove(scale: float) -> Results:
    """Every question of likeness: its level where nothing differs, its power where something does.

    Parameters
    ----------
    scale : float
        Share of the fleets and studies to run.
    """
    fleets, studies = max(20, round(800 * scale)), max(20, round(500 * scale))
    yield from _positions(fleets)
    yield from _years(fleets)
    yield from _changes(fleets)
    yield from _frailty(fleets)
    yield from _ratio_bounds(fleets // 10)
    yield from _bad_actors(studies)
    yield from _lots(studies)
