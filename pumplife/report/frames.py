"""Output tables as frames of words, for notebooks."""

from collections.abc import Sequence

import pandas as pd

from pumplife.report.answer import advise_groups
from pumplife.report.face import ReadableStudy
from pumplife.report.tables import lay_out
from pumplife.report.words import Units

ADVICE = {
    "group": "Pump group",
    "kit": "Kit",
    "pumps": "Pumps",
    "action": "What to do",
    "band": "Costs within 5 % of the best",
    "chance": "Chance to beat run to failure",
    "saving": "Saving a year against today",
    "limit": "Limit",
}


def write_frame(
    frame: pd.DataFrame, table: str, units: Units, *, columns: Sequence[str] | None = None
) -> pd.DataFrame:
    """An output table with headings, units and digits for people.

    Parameters
    ----------
    frame : DataFrame
        Rows of an output table.
    table : str
        Its name.
    units : Units
        Of the plant.
    columns : sequence of str, optional
        Which to show; all that hold anything when None.
    """
    laid = lay_out(frame, table, units, columns=columns)
    cells = [[cell.text for cell in row] for row in laid.rows]
    return pd.DataFrame(cells, columns=list(laid.headings), index=frame.index[: len(cells)])


def write_groups(study: ReadableStudy) -> pd.DataFrame:
    """What to do with each pump group, in words, as the page has it.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    """
    return pd.DataFrame(advise_groups(study), columns=list(ADVICE)).rename(columns=ADVICE)
