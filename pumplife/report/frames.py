"""Output tables as frames of words, for notebooks."""

from collections.abc import Sequence

import pandas as pd

from pumplife.report.tables import lay_out
from pumplife.report.words import Units


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
