"""What a ticket reads of a study."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Protocol

import pandas as pd

if TYPE_CHECKING:
    from pumplife.records.read import Records
    from pumplife.records.usage import UsageClock


class HasPositions(Protocol):
    """The lives: every visit to a side, and what sits in each position today."""

    @property
    def visits(self) -> pd.DataFrame: ...
    @property
    def now(self) -> pd.DataFrame: ...


class HasDueList(Protocol):
    """A study with a due list among its tables.

    Attributes
    ----------
    records : Records
    tables : mapping of name to DataFrame
    lives, clock
        None where the records stop the study.
    """

    @property
    def records(self) -> Records: ...
    @property
    def tables(self) -> Mapping[str, pd.DataFrame]: ...
    @property
    def lives(self) -> HasPositions | None: ...
    @property
    def clock(self) -> UsageClock | None: ...
