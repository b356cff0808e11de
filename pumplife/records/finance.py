"""The financial year of the plant: when it starts, how many are looked at, how prices rise."""

import datetime
import re
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pumplife.errors import SettingError

BUDGET = ("year_starts", "years", "price_rise")
FEWEST, MOST = 3, 5  # years
_DAY = re.compile(r"^(\d{2})-(\d{2})$")
_LEAP_YEAR = 2024


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finance:
    """What [budget] says.

    Attributes
    ----------
    starts : tuple of int or None
        Month and day on which the financial year starts; None: years count from the end of the
        records.
    years : int
        Whole years looked at.
    kits, labour : float
        Yearly rise of prices of kits and parts, and of labour [1/year].
    """

    starts: tuple[int, int] | None
    years: int
    kits: float
    labour: float

    def __repr__(self) -> str:
        return f"Finance({self.years} years, kits {self.kits:.1%}, labour {self.labour:.1%} a year)"

    def year_ends(self, first: pd.Timestamp) -> tuple[list[pd.Timestamp], bool]:
        """Give the days after which a year ends, and whether the first is a part of a year.

        Parameters
        ----------
        first : Timestamp
            First day looked at.

        Returns
        -------
        list of Timestamp
            First days of what comes after each year; the part up to the next financial year first,
            where there is one.
        bool
            Whether there is one.
        """
        if self.starts is None:
            return [first + pd.DateOffset(years=n) for n in range(1, self.years + 1)], False
        begin = _start_of(first.year, self.starts)
        if begin < first:
            begin = _start_of(first.year + 1, self.starts)
        part = begin > first
        whole = [_start_of(begin.year + n, self.starts) for n in range(1, self.years + 1)]
        return ([begin] if part else []) + whole, part


def _start_of(year: int, starts: tuple[int, int]) -> pd.Timestamp:
    return pd.Timestamp(year=year, month=starts[0], day=starts[1])


def read_finance(raw: dict[str, Any]) -> Finance:
    """Read [budget] of plant.toml.

    Parameters
    ----------
    raw : dict
        All settings as read.

    Raises
    ------
    SettingError
        When year_starts is no month and day, or years no number from 3 to 5.
    """
    given = raw.get("budget", {})
    rise = given.get("price_rise", {})
    years = given.get("years", FEWEST)
    if isinstance(years, bool) or not isinstance(years, int) or not FEWEST <= years <= MOST:
        raise SettingError(
            f"plant.toml: [budget] years = {years!r} must be a whole number from {FEWEST} to "
            f"{MOST}."
        )
    return Finance(
        starts=_read_start(given["year_starts"]) if "year_starts" in given else None,
        years=years,
        kits=float(rise.get("kits", 0.0)),
        labour=float(rise.get("labour", 0.0)),
    )


def _read_start(written: Any) -> tuple[int, int]:
    found = _DAY.match(written.strip()) if isinstance(written, str) else None
    try:
        if found is None:
            raise ValueError
        month, day = int(found[1]), int(found[2])
        datetime.date(_LEAP_YEAR, month, day)
    except ValueError:
        month, day = 0, 0
    if month == 0 or (month, day) == (2, 29):
        raise SettingError(
            f"plant.toml: [budget] year_starts = {written!r} must be the month and day on which "
            'the financial year starts, like "04-01".'
        )
    return month, day
