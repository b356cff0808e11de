"""What is due, counted the same way for the headline, the figure and the list."""

import pandas as pd

from pumplife.policy.load import FULL, NO_ROOM
from pumplife.report.tables import write_date, write_many, write_number

SOON_WEEKS = 13
LONG_WEEKS = 4  # by which the bench may put work off before the page says so


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
    near = pd.to_datetime(due["do_on"]) <= _end_soon(today)
    return int(overdue.sum()), int((near & ~overdue).sum())


def _end_soon(today: pd.Timestamp) -> pd.Timestamp:
    """The last day of the next 13 weeks."""
    return today + pd.Timedelta(weeks=SOON_WEEKS)


def list_put_off(due: pd.DataFrame, today: pd.Timestamp) -> pd.DataFrame:
    """Give the rebuilds due in the next 13 weeks that come over 4 weeks late, the bench full.

    Parameters
    ----------
    due : DataFrame
        The output table.
    today : Timestamp
        End of the records.
    """
    if due.empty:
        return due
    due_on, do_on = (pd.to_datetime(due[name]) for name in ("due_on", "do_on"))
    late = do_on - due_on.mask(due_on < today, today) > pd.Timedelta(weeks=LONG_WEEKS)
    return due[late & (due_on <= _end_soon(today)) & due["moved_because"].isin((FULL, NO_ROOM))]


def say_put_off(due: pd.DataFrame, load: pd.DataFrame, today: pd.Timestamp) -> str:
    """Say how many rebuilds the bench puts off, why, and what then doesn't hold; "" for none.

    Parameters
    ----------
    due, load : DataFrame
        The output tables.
    today : Timestamp
        End of the records.
    """
    late = list_put_off(due, today)
    if late.empty:
        return ""
    until = write_date(_end_soon(today))
    last = write_date(pd.to_datetime(late["do_on"]).max())
    soon = load[load["site"].isin(late["site"]) & (load["week"] <= _end_soon(today))]
    weekly = soon.groupby("week")[["limit", "hours_breakdowns"]].sum().mean()
    limit, broken = (write_number(float(weekly[name])) for name in ("limit", "hours_breakdowns"))
    where = ", ".join(sorted({str(site) for site in late["site"]} - {""}))
    return (
        f"{write_many(len(late), 'rebuild')} due by {until} will be more than {LONG_WEEKS} weeks "
        f"late, the last on {last}: the bench{f' of {where}' if where else ''} is full. Of {limit} "
        f"h a week breakdowns are expected to take {broken} h until {until}, beyond the planned "
        "work that they do. Stock and budget follow these days; savings count every rebuild at "
        "its interval, and hold only with more hours; what the bench has is bench_hours_per_week "
        "under [calendar] in plant.toml."
    )


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
