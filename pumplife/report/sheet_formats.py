"""How numbers of a workbook are shown: decimals by column, whole values in the cells."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DATE = "yyyy-mm-dd"
PERCENT = ("share", "chance")
MOST_PLACES = 8
LINE = 14.5  # height of one [point]
LETTER = 1.06  # widths where the reader's machine has a wider font
WHOLE_FROM = {"usage": 10.0, "money": 100.0}
"""Typical size from which a kind is shown without decimals."""


def count_places(kind: str, numbers: Floats) -> int:
    """Choose the decimals of a column: three digits of its typical number, none if all are whole.

    Parameters
    ----------
    kind : str
        Of the column's heading.
    numbers : array
        Its finite values, in percent where the kind is a share.

    Returns
    -------
    int
    """
    if kind in PERCENT:
        return 1
    broken = np.abs(numbers[numbers != np.round(numbers)])
    if broken.size == 0:
        return 0
    typical = float(np.median(broken))
    if typical >= WHOLE_FROM.get(kind, np.inf):
        return 0
    return 2 if kind == "money" else int(np.clip(2 - np.floor(np.log10(typical)), 0, 3))


def places_of(number: float) -> int:
    """Count the decimals that a small number needs to show two digits.

    Parameters
    ----------
    number : float
        In percent where it is a share; not 0.

    Returns
    -------
    int
    """
    return int(min(1 - np.floor(np.log10(abs(number))), MOST_PLACES))


def number_code(kind: str, places: int) -> str:
    """Give the number format of a workbook cell."""
    whole = "0" if kind in PERCENT else "#,##0"
    return f"{whole}{'.' * bool(places)}{'0' * places}{'%' * (kind in PERCENT)}"


def count_lines(text: str, width: float) -> int:
    """Count the lines that a text takes in a column so many letters wide."""
    return sum(int(LETTER * len(line) // width) + 1 for line in text.splitlines()) or 1


def row_height(lines: int) -> float:
    """Give the height of a row [point]; a sheet allows 409."""
    return min(LINE * lines + 1.0, 409.0)


@dataclass(frozen=True, slots=True, eq=False)
class Formats:
    """The formats of one workbook, each made once.

    Attributes
    ----------
    book : xlsxwriter.Workbook
    made : dict
        By their properties.
    """

    book: Any
    made: dict[tuple[tuple[str, Any], ...], Any] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"Formats({len(self.made)} made)"

    def give(self, **properties: Any) -> Any:
        """Give the format with these properties."""
        key = tuple(sorted(properties.items()))
        if key not in self.made:
            self.made[key] = self.book.add_format(properties)
        return self.made[key]

    @property
    def heading(self) -> Any:
        """What stands above a column."""
        return self.give(bold=True, text_wrap=True, valign="bottom", bottom=1, bg_color="#E8EDF2")

    @property
    def words(self) -> Any:
        """A text that may take several lines."""
        return self.give(valign="top", text_wrap=True, align="left", indent=1)

    @property
    def plain(self) -> Any:
        """A text on one line."""
        return self.give(valign="top", align="left", indent=1)

    @property
    def date(self) -> Any:
        """A day."""
        return self.give(valign="top", num_format=DATE, align="left", indent=1)

    def number(self, kind: str, places: int) -> Any:
        """A number of a kind with so many decimals."""
        return self.give(valign="top", num_format=number_code(kind, places), align="right")
