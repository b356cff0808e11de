"""What the values of a column look like: dates, numbers, a meter, pump numbers, few codes, text."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.records.cells import read_dates, read_numbers, tidy_text
from pumplife.records.words import SEVERAL, Words

SAMPLE = 5_000
"""So many written cells of a column are looked at."""
MOST = 0.8
"""Share of the cells from which a column is of a kind [1]."""
FEW = 40
"""A column of codes has no more different words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """What a column looks like; shares are of its written cells.

    Attributes
    ----------
    written : int
        Cells that hold something.
    distinct : int
        Different words among those looked at.
    dates, numbers, pumps, reasons, parts : float
        Shares that read as dates, as numbers, as numbers of known pumps, as reasons and as parts.
    unique : float
        Different words as a share of the cells.
    letters : float
        Mean length of a cell.
    undecided : bool
        Its dates can be read day first or month first.
    guessed : bool
        Its numbers can't tell decimals from thousands.
    """

    written: int
    distinct: int
    dates: float
    numbers: float
    pumps: float
    reasons: float
    parts: float
    unique: float
    letters: float
    undecided: bool
    guessed: bool

    @property
    def is_dates(self) -> bool:
        """Whether it is a column of dates."""
        return self.dates >= MOST

    @property
    def is_numbers(self) -> bool:
        """Whether it is a column of numbers."""
        return self.numbers >= MOST

    def suits(self, kind: str) -> bool:
        """Say whether it can be a column of that kind."""
        if not self.written:
            return True
        if kind == "date":
            return self.is_dates
        if kind == "number":
            return self.is_numbers
        return kind == "text" or not self.is_dates


def read_signs(column: "pd.Series", words: Words, *, exact: bool) -> Signs:
    """Look at a column.

    Parameters
    ----------
    column : Series of str
        Its cells.
    words : Words
        The dictionary of reasons and parts.
    exact : bool
        They are a workbook's own numbers, in which a point is a point.
    """
    cells = tidy_text(column)
    cells = cells[cells.ne("")]
    seen = cells.iloc[:SAMPLE]
    count = max(len(seen), 1)
    dates = read_dates(seen, serials=False, months=True)
    numbers = read_numbers(seen, exact=exact, unit="any")
    place, spellings = pd.factorize(seen)
    read = [words.read(str(word)) for word in spellings]
    reasons = np.array([one.reason not in ("", SEVERAL) for one in read], dtype=float)
    parts = np.array([one.part not in ("", SEVERAL) for one in read], dtype=float)
    return Signs(
        written=len(cells),
        distinct=len(spellings),
        dates=float((~dates.bad).sum()) / count,
        numbers=float((~numbers.bad).sum()) / count,
        pumps=0.0,
        reasons=float(reasons[place].sum()) / count,
        parts=float(parts[place].sum()) / count,
        unique=len(spellings) / count,
        letters=float(seen.str.len().mean()) if len(seen) else 0.0,
        undecided=dates.undecided,
        guessed=numbers.guessed,
    )


def share_known(column: "pd.Series", pumps: set[str]) -> float:
    """Give the share of a column's written cells that are numbers of known pumps [1].

    Parameters
    ----------
    column : Series of str
        Its cells.
    pumps : set of str
        The numbers, case folded.
    """
    cells = column.str.strip()
    seen = cells[cells.ne("")].iloc[:SAMPLE]
    return float(seen.str.casefold().isin(pumps).mean()) if len(seen) else 0.0


def share_growing(pump: "pd.Series", day: "pd.Series", shown: "pd.Series") -> float:
    """Give the share of steps between readings of one pump in which a number doesn't fall [1]."""
    frame = pd.DataFrame({"pump": pump, "day": day, "shown": shown}).dropna()
    frame = frame[frame["pump"].ne("")].sort_values(["pump", "day"], kind="stable")
    steps = frame.groupby("pump")["shown"].diff().dropna()
    return float(steps.ge(0).mean()) if len(steps) >= 3 else 0.0


def daily_gain(pump: "pd.Series", day: "pd.Series", shown: "pd.Series") -> float:
    """Give the median gain a day between readings of one pump; NaN without any."""
    frame = pd.DataFrame({"pump": pump, "day": day, "shown": shown}).dropna()
    frame = frame.sort_values(["pump", "day"], kind="stable")
    days = frame.groupby("pump")["day"].diff().dt.total_seconds() / 86_400.0
    gain = frame.groupby("pump")["shown"].diff() / days.where(days > 0)
    gain = gain[gain > 0]
    return float(gain.median()) if len(gain) else float("nan")
