"""What is due, counted the same way for the headline, the figure and the list."""

import pandas as pd

SOON_WEEKS = 13


def is_overdue(due: pd.DataFrame, today: pd.Timestamp) -> "pd.Series[bool]":
    """Tell which dated rows should have been done by now.

    Parameters
    ----------
    due : DataFrame
        The output table.
    today : Timestamp
        End of the records.
    """
    do_on = pd.to_datetime(due["do_on"])
    late = (due["overdue_by"].astype(float) > 0) | (do_on < today)
    return late & do_on.notna()


def count_due(due: pd.DataFrame, today: pd.Timestamp) -> tuple[int, int]:
    """Count the rebuilds that are overdue, and those to do in the next 13 weeks.

    Parameters
    ----------
    due : DataFrame
        The output table.
    today : Timestamp
        End of the records.

    Returns
    -------
    overdue, soon : int
        None is counted twice.
    """
    overdue = is_overdue(due, today)
    near = pd.to_datetime(due["do_on"]) <= today + pd.Timedelta(weeks=SOON_WEEKS)
    return int(overdue.sum()), int((near & ~overdue).sum())


def split_due(due: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Give the rows that something is due to, by priority, and how many sides run to failure.

    Parameters
    ----------
    due : DataFrame
        The output table.

    Returns
    -------
    listed : DataFrame
    running : int
        Rows without a date and without an age to rebuild at.
    """
    if due.empty:
        return due, 0
    planned = due["do_on"].notna() | due["due_usage"].notna()
    return due[planned].sort_values("priority", kind="stable"), int((~planned).sum())
