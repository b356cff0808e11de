"""Every question of likeness asked of a study's lives, in one table, and said where it matters."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pumplife.fits.alike.calendar import compare_years
from pumplife.fits.alike.expected import Seen, failures_seen
from pumplife.fits.alike.holm import holm
from pumplife.fits.alike.lots import compare_fittings
from pumplife.fits.alike.modes import split_by_mode
from pumplife.fits.alike.positions import compare_positions
from pumplife.fits.alike.pumps import Cells, PumpRatios, add_up, compare_pumps, frailty_p_values
from pumplife.fits.alike.question import NO, answer, judge, put_together
from pumplife.fits.build import Fits
from pumplife.fits.rules import read_rules
from pumplife.lives.build import Lives
from pumplife.records.read import Records

FEWEST_FAILURES = 8.0  # in a service, below which its pumps aren't compared
CONSEQUENCES = {
    "positions": "They are fitted together; the shape comes out lower than that of either.",
    "calendar time": "The fit is a mean over the years; the advice for next year may be off.",
    "pumps": "They share a fit; the table of pumps says which of them have more failures.",
    "lots": "Its lives stay in the fits.",
    "crews": "Its lives stay in the fits.",
}
REMEDIES = {
    "positions": "Look for what differs there: solids, flashing, pressure, closing impact.",
    "calendar time": "Look for what changed; if it has a date, write it in events as lasting.",
    "pumps": "Look at the pumps that are named first.",
    "lots": "Look at the batch.",
    "crews": "Look at the work instruction.",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Alike:
    """What was found out on the likeness of lives.

    Parameters
    ----------
    likeness : DataFrame
        `question.LIKE_COLUMNS`, one row per comparison.
    ratios : PumpRatios
        Each pump against its peers, by row of the pumps table.
    seen : Seen
        Failures seen and expected, life by life.
    """

    likeness: pd.DataFrame
    ratios: PumpRatios
    seen: Seen

    def __repr__(self) -> str:
        return f"Alike({len(self.likeness)} comparisons, {self.ratios})"


def compare_lives(
    records: Records, lives: Lives, fits: Fits, changes: pd.DataFrame, *, seed: int
) -> tuple[Fits, Alike]:
    """Ask whether lives that are fitted together are alike, and split failures by cause.

    Parameters
    ----------
    records : Records
        Takes a caution for every difference that is shown.
    lives : Lives
        Settled, as `fit_lives` returns them.
    fits : Fits
    changes : DataFrame
        The answers of `split_where_changed`.
    seed : int

    Returns
    -------
    fits : Fits
        With rows for causes, and words on differences in the verdicts.
    alike : Alike
    """
    seen = failures_seen(fits, lives.table)
    cells = add_up(seen.pump, seen.group, seen.failed, seen.expected)
    ratios = compare_pumps(cells, len(records.pumps))
    table = lives.table
    answers = [
        compare_positions(fits, table),
        _compare_services(fits, cells, ratios, records),
        compare_years(fits, table),
        compare_fittings(fits, table, "lot"),
        compare_fittings(fits, table, "crew"),
    ]
    found = put_together(answers)
    say_differences(records, found)
    worded = replace(fits, table=_add_words(fits.table, found))
    split, causes = split_by_mode(worded, table, read_rules(records.plant.evidence), seed=seed)
    whole = put_together([found, changes, causes])
    return split, Alike(likeness=whole, ratios=ratios, seen=seen)


def _compare_services(
    fits: Fits, cells: Cells, ratios: PumpRatios, records: Records
) -> pd.DataFrame:
    """One row per service: do its pumps differ by more than chance."""
    code, services = pd.factorize(fits.table["service"], sort=True)
    stratum = code[cells.group]
    failures = np.bincount(stratum, cells.failed, len(services))
    chance = frailty_p_values(cells, stratum, len(services))
    rows = pd.DataFrame({"service": services, "failures": failures})
    rows["p_value"] = np.where(failures >= FEWEST_FAILURES, chance, np.nan)
    rows["p_adjusted"] = holm(rows["p_value"].to_numpy(float))
    rows["alike"] = judge(rows["p_adjusted"])
    rows["compared"] = "pumps of a service"
    spread = f"{ratios.spread:.2g} ({ratios.spread_low:.2g} to {ratios.spread_high:.2g})"
    names = records.pumps["pump_id"].to_numpy(object)
    rows["verdict"] = [
        _say_service(str(row["service"]), str(row["alike"]), spread, list(names[_named(
            cells, stratum, place, ratios)]))
        for place, row in enumerate(rows.to_dict("records"))
    ]  # fmt: skip
    return answer(rows, "pumps")


def _named(
    cells: Cells, stratum: np.ndarray[tuple[int], np.dtype[np.int64]], place: int, of: PumpRatios
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Pumps of a service that stand out."""
    mine = np.unique(cells.pump[stratum == place])
    return np.asarray(mine[of.named[mine]], np.int64)


def _say_service(service: str, alike: str, spread: str, named: list[str]) -> str:
    more = f" Stands out: {', '.join(named)}." if named else ""
    if alike == NO:
        return (
            f"{service}: its pumps differ by more than chance; over the plant, hazards differ "
            f"with a standard deviation of {spread} times the mean.{more}"
        )
    if alike == "too few to tell":
        return f"{service}: too few failures to compare its pumps.{more}"
    return f"{service}: no difference between its pumps shown.{more}"


def say_differences(records: Records, found: pd.DataFrame) -> None:
    for row in found[found["alike"] == NO].to_dict("records"):
        question = str(row["question"])
        rule = f"unlike_{question.replace(' ', '_')}"
        records.log.add(
            "caution",
            str(row["verdict"]),
            rule=rule,
            table="likeness",
            consequence=CONSEQUENCES[question],
            remedy=REMEDIES[question],
        )


def _add_words(table: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Verdicts of the fits with a word on trends, on unlike positions, and on the period."""
    keys = ["service", "side", "part"]
    shown = found[found["alike"] == NO]
    years = shown[shown["question"] == "calendar time"].drop_duplicates(keys)
    way = np.where(years["ratio"] < 1, "shorter", "longer")
    trend = table[keys].merge(years[keys].assign(way=way), on=keys, how="left")["way"]
    placed = shown[shown["question"] == "positions"].drop_duplicates([*keys, "material"])
    placed = placed[[*keys, "material", "compared"]]
    unlike = table[[*keys, "material"]].merge(placed, how="left")["compared"]
    words = table["verdict"].to_numpy(object)
    words = words + [f"; lives grow {way} over the years" if isinstance(way, str) else ""
                     for way in trend]  # fmt: skip
    words = words + [f"; {pair.split(' ')[0]} and {pair.split(' ')[-1]} last unlike"
                     if isinstance(pair, str) else "" for pair in unlike]  # fmt: skip
    words = words + [f"; lives {period} only" if period else "" for period in table["period"]]
    return table.assign(verdict=words)
