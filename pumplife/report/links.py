"""Where numbers lead: to rebuild tickets, to pump groups, to the rows of the tables behind them."""

from collections.abc import Iterable
from urllib.parse import quote

import numpy as np
import pandas as pd

from pumplife.report.face import ReadableStudy
from pumplife.ticket.write import MOST, name_file, pick_soon


def link_group(place: int) -> str:
    """Give the place on the page of the evidence of a row of intervals."""
    return f"#group-{place + 1}"


def link_tickets(study: ReadableStudy, rows: pd.DataFrame) -> list[str]:
    """Give the address of each row's rebuild ticket.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    rows : DataFrame
        Rows of the table due.

    Returns
    -------
    list of str
        "" where no ticket was written.
    """
    if rows.empty or study.lives is None or study.clock is None:
        return [""] * len(rows)
    written = set(pick_soon(study).head(MOST)["ticket_id"])
    return [
        f"tickets/{quote(name_file(str(ticket)))}" if ticket in written else ""
        for ticket in rows["ticket_id"]
    ]


def link_groups(rows: pd.DataFrame) -> list[str]:
    """Give the place of the pump group that each row of the table due belongs to."""
    if "group" not in rows.columns:
        return [""] * len(rows)
    places = rows["group"].to_numpy(dtype=float)
    return [link_group(int(place)) if np.isfinite(place) else "" for place in places]


def name_rows(places: Iterable[int]) -> str:
    """Name rows of a table's file as a spreadsheet counts them, the headings being row 1.

    Parameters
    ----------
    places : iterable of int
        From 0.

    Returns
    -------
    str
        "rows 3 and 7 of "; "" for none.
    """
    numbers = [str(int(place) + 2) for place in places]
    if not numbers:
        return ""
    listed = " and ".join(filter(None, [", ".join(numbers[:-1]), numbers[-1]]))
    return f"{'row' if len(numbers) == 1 else 'rows'} {listed} of "
