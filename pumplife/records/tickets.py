"""Check that the orders agree with themselves and with their pump."""

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
    pumps = tables["pumps"].iloc[rebuilds["pump"].to_numpy()]
    began = rebuilds["happened_on"].fillna(rebuilds["opened_on"])
    commissioned = pumps["commissioned_on"].set_axis(rebuilds.index)
    retired = pumps["retired_on"].set_axis(rebuilds.index)
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
        (
            began < commissioned,
            "before_commissioning",
            "The order is dated before the pump was commissioned.",
            "Correct the order's date or commissioned_on in pumps.",
        ),
        (
            began > retired,
            "after_retirement",
            "The order is dated after the pump was retired.",
            "Correct the order's date or retired_on in pumps.",
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
