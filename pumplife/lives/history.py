"""What the plant wrote down about every position, brought together once for lives and sides."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.actions import Actions, visit_of
from pumplife.lives.kinds import read_visits
from pumplife.lives.positions import build_positions, first_part_numbers, pump_parts
from pumplife.lives.visits import gather_visits, sort_tickets
from pumplife.records.duty import Duty
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gathered:
    """Tickets brought together into visits, with the issues and findings that belong to them.

    Parameters
    ----------
    records, duty, clock
        The plant's records, where its pumps stood, how much they ran.
    tickets : DataFrame
        Tickets in use, one row as written, with the number of their `visit`.
    visits : DataFrame
        One row per visit; its row number is the visit.
    issued, findings : DataFrame
        Rows of these tables that belong to a visit, with its number.
    shock : array (visits,)
        Row of `events` to whose shock a breakdown is laid, -1 for none; see `find_shocks`.
    """

    records: Records
    duty: Duty
    clock: UsageClock
    tickets: pd.DataFrame
    visits: pd.DataFrame
    issued: pd.DataFrame
    findings: pd.DataFrame
    shock: Ints

    def __repr__(self) -> str:
        return f"Gathered({len(self.visits)} visits)"


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
    number : array (visits,)
        The number of each visit among all visits of the plant.
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
    number: Ints
    positions: pd.DataFrame
    actions: Actions
    marks: pd.DataFrame
    unplaced: pd.DataFrame
    first: pd.DataFrame
    shock: Ints

    def __repr__(self) -> str:
        return f"History({len(self.visits)} visits, {len(self.positions)} positions)"


def gather(records: Records, duty: Duty, clock: UsageClock) -> Gathered:
    """Bring tickets, issues and findings together into visits."""
    visits, tickets = gather_visits(sort_tickets(records))
    return Gathered(
        records=records,
        duty=duty,
        clock=clock,
        tickets=tickets,
        visits=visits,
        issued=visit_of(records.table("issued"), tickets),
        findings=visit_of(records.table("findings"), tickets),
        shock=np.full(len(visits), -1),
    )


def lay_history(gathered: Gathered, pumps: Ints) -> History:
    """Lay the visits of some pumps on their positions; visits and positions are numbered anew."""
    records = gathered.records
    mine = np.zeros(len(records.pumps), dtype=bool)
    mine[pumps] = True
    number = np.flatnonzero(mine[gathered.visits["pump"].to_numpy(np.int64)])
    visit = np.full(len(gathered.visits), -1)
    visit[number] = np.arange(len(number))
    tickets, issued, findings = (
        rows[mine[rows["pump"].to_numpy(np.int64)]].assign(
            visit=lambda kept: visit[kept["visit"].to_numpy(np.int64)]
        )
        for rows in (gathered.tickets, gathered.issued, gathered.findings)
    )
    visits = gathered.visits.iloc[number].reset_index(drop=True)
    visits["visit"] = np.arange(len(visits))
    positions = build_positions(pump_parts(records, pumps, tickets, _named(records, mine, tickets)))
    positions["pos"] = np.arange(len(positions))
    actions, marks, unplaced = read_visits(records, visits, tickets, (issued, findings), positions)
    return History(
        records=records,
        duty=gathered.duty,
        clock=gathered.clock,
        tickets=tickets,
        visits=visits,
        number=number,
        positions=positions,
        actions=actions,
        marks=marks,
        unplaced=unplaced,
        first=first_part_numbers(records, positions, tickets),
        shock=gathered.shock[number],
    )


def _named(records: Records, mine: NDArray[np.bool_], tickets: pd.DataFrame) -> pd.DataFrame:
    """Parts of these pumps that tickets or findings name: [pump, part]."""
    findings = records.table("findings")
    pump = findings["pump"].to_numpy(np.int64)
    told = findings[(pump >= 0) & mine[pump]]
    written = tickets[["pump", "failed_part"]].rename(columns={"failed_part": "part"})
    return pd.concat([written, told[["pump", "part"]]])
