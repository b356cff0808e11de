"""What the plant wrote down about every position, brought together once for lives and sides."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.actions import Actions, read_actions
from pumplife.lives.marks import make_marks
from pumplife.lives.positions import build_positions, first_part_numbers, pump_parts
from pumplife.lives.visits import gather_visits, sort_tickets
from pumplife.records.duty import Duty
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class History:
    """Records laid on visits and positions.

    Parameters
    ----------
    records, duty, clock
        The plant's records, where its pumps stood, how much they ran.
    tickets : DataFrame
        Tickets in use, one row as written, with the number of their `visit`.
    visits : DataFrame
        One row per visit; its row number is the visit.
    positions : DataFrame
        One row per wearing position; its row number is the position, `pos`.
    actions : Actions
        What each visit did, by the order of evidence.
    marks, unplaced : DataFrame
        See `make_marks`.
    first : DataFrame
        What sat in each position at the start, see `first_part_numbers`.
    shock : array (visits,)
        Row of `events` to whose shock a breakdown is laid, -1 for none; see `find_shocks`.
    """

    records: Records
    duty: Duty
    clock: UsageClock
    tickets: pd.DataFrame
    visits: pd.DataFrame
    positions: pd.DataFrame
    actions: Actions
    marks: pd.DataFrame
    unplaced: pd.DataFrame
    first: pd.DataFrame
    shock: NDArray[np.int64]

    def __repr__(self) -> str:
        return f"History({len(self.visits)} visits, {len(self.positions)} positions)"


def read_history(records: Records, duty: Duty, clock: UsageClock) -> History:
    """Lay tickets, issues and findings on visits and positions."""
    visits, tickets = gather_visits(sort_tickets(records))
    findings = records.table("findings")
    named = pd.concat(
        [
            tickets[["pump", "failed_part"]].rename(columns={"failed_part": "part"}),
            findings.loc[findings["pump"] >= 0, ["pump", "part"]],
        ]
    )
    positions = build_positions(pump_parts(records, tickets, named))
    positions["pos"] = np.arange(len(positions))
    actions = read_actions(records, tickets, positions)
    marks, unplaced = make_marks(visits, tickets, positions, actions)
    return History(
        records=records,
        duty=duty,
        clock=clock,
        tickets=tickets,
        visits=visits,
        positions=positions,
        actions=actions,
        marks=marks,
        unplaced=unplaced,
        first=first_part_numbers(records, positions, tickets),
        shock=np.full(len(visits), -1),
    )


def history_of(history: History, pumps: Sequence[int]) -> History:
    """The history of some pumps only: their positions, numbered anew, and what befell these."""
    positions = history.positions
    chosen = positions["pump"].isin(pumps).to_numpy()
    number = np.full(len(positions), -1)
    number[chosen] = np.arange(int(chosen.sum()))

    def mine(rows: pd.DataFrame) -> pd.DataFrame:
        pos = number[rows["pos"].to_numpy(np.int64)]
        kept: pd.DataFrame = rows.assign(pos=pos)[pos >= 0]
        return kept.reset_index(drop=True)

    return replace(
        history,
        tickets=history.tickets[history.tickets["pump"].isin(pumps)],
        positions=mine(positions),
        actions=replace(history.actions, slots=mine(history.actions.slots)),
        marks=mine(history.marks),
        first=history.first[chosen].reset_index(drop=True),
    )
