"""Check that the orders agree with themselves."""

import pandas as pd

from pumplife.records.audit import AuditLog

Tables = dict[str, pd.DataFrame]


def check_tickets(tables: Tables, log: AuditLog) -> None:
    """Point out orders whose dates or hours contradict each other; all are kept.

    Parameters
    ----------
    tables : dict of DataFrame
        Linked tables.
    log : AuditLog
        Gets a caution per contradiction.
    """
    rebuilds = tables["rebuilds"]
    for wrong, rule, what, remedy in (
        (
            rebuilds["closed_on"] < rebuilds["opened_on"],
            "closed_early",
            "The order was closed before it was opened.",
            "Correct one of the two dates.",
        ),
        (
            rebuilds["happened_on"] > rebuilds["closed_on"],
            "happened_late",
            "The failure is dated after the order was closed.",
            "Correct one of the two dates.",
        ),
        (
            rebuilds["waited_h"] > rebuilds["downtime_h"],
            "waited_long",
            "waited_h is part of downtime_h but larger.",
            "Correct one of the two numbers.",
        ),
    ):
        log.add_rows(
            rebuilds[wrong],
            severity="caution",
            rule=rule,
            table="rebuilds",
            what=what,
            consequence="The row is used as it is written.",
            remedy=remedy,
        )
