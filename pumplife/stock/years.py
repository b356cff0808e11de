"""The years of the budget: a part of a year up to the next financial year, then whole ones."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.records.plant import Plant

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

YEARS = 3
PART = "part year"
WHOLE = "year"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BudgetYears:
    """The stretches of time that the budget tells of.

    Attributes
    ----------
    edges : array (years + 1,)
        Where they begin and end, from the end of the records [years].
    number : int array (years,)
        1, 2, ... for whole years; 0 for the part of a year before them.
    from_on, to_on : tuple of Timestamp (years,)
        First and last day of each.
    """

    edges: FloatArray
    number: IntArray
    from_on: tuple[pd.Timestamp, ...] = ()
    to_on: tuple[pd.Timestamp, ...] = ()

    def __repr__(self) -> str:
        return f"BudgetYears({self.number.size}, {self.edges[-1]:.2f} years ahead)"

    @property
    def first(self) -> int:
        """Place of the first whole year."""
        return int(np.flatnonzero(self.number == 1)[0])

    @property
    def span(self) -> tuple[str, ...]:
        """What each is."""
        return tuple(WHOLE if number else PART for number in self.number)


def plain_years(years: int = YEARS) -> BudgetYears:
    """Whole years from the end of the records, undated."""
    return BudgetYears(
        edges=np.arange(years + 1, dtype=np.float64), number=np.arange(1, years + 1, dtype=np.intp)
    )


def budget_years(plant: Plant) -> BudgetYears:
    """The years by the plant's financial year, from the day after the records on."""
    first = plant.records_to.normalize() + pd.Timedelta(days=1)
    ends, part = plant.finance.year_ends(first)
    begins = [first, *ends]
    days = [(day - first) / pd.Timedelta(days=1) for day in begins]
    return BudgetYears(
        edges=np.array(days) / DAYS_PER_YEAR,
        number=np.arange(len(ends), dtype=np.intp) + (0 if part else 1),
        from_on=tuple(begins[:-1]),
        to_on=tuple(day - pd.Timedelta(days=1) for day in ends),
    )
