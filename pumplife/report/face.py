"""What the report reads of a study, so that the report needs nothing of how one is made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol

import pandas as pd

from pumplife.report.tables import write_date
from pumplife.report.words import NO_CURRENCY, Units, name_units
from pumplife.ticket.face import HasDueList, HasPositions

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from pumplife.fits.groups import FitRows
    from pumplife.lives.history import Gathered
    from pumplife.policy.doubt.table import Doubt
    from pumplife.policy.interval import CostCurve
    from pumplife.records.duty import Duty
    from pumplife.stock.curves import RiskCurve
    from pumplife.weibull.draws import LifeDraws


class HasDraws(Protocol):
    """The fits: a row of the table for each leading index of the draws."""

    @property
    def table(self) -> pd.DataFrame: ...
    @property
    def draws(self) -> LifeDraws: ...
    @property
    def taken(self) -> FitRows: ...


class HasVisits(HasPositions, Protocol):
    """The lives, and what they were built from."""

    @property
    def gathered(self) -> Gathered | None: ...


class HasFitRows(Protocol):
    """A pump group: rows of the table of fits that it rests on, -1 where there is none."""

    @property
    def title(self) -> str: ...
    @property
    def fit_rows(self) -> NDArray[np.int64]: ...


class HasCostCurves(Protocol):
    """The advice: a group, curve and doubt per row of intervals, None where it is withheld."""

    @property
    def groups(self) -> Sequence[HasFitRows]: ...
    @property
    def curves(self) -> Sequence[CostCurve | None]: ...
    @property
    def doubts(self) -> Sequence[Doubt | None]: ...


class HasRiskCurves(Protocol):
    """The stock plan: one risk curve per item and store."""

    @property
    def curves(self) -> Sequence[RiskCurve]: ...


class ReadableStudy(HasDueList, Protocol):
    """A finished study.

    Attributes
    ----------
    duty, lives, fits, advice, stock
        Where the curves come from; None where the records did not reach so far.
    seed : int
        Of everything drawn at random.
    """

    @property
    def duty(self) -> Duty | None: ...
    @property
    def lives(self) -> HasVisits | None: ...
    @property
    def fits(self) -> HasDraws | None: ...
    @property
    def advice(self) -> HasCostCurves | None: ...
    @property
    def stock(self) -> HasRiskCurves | None: ...
    @property
    def seed(self) -> int: ...


def study_units(study: ReadableStudy) -> Units:
    """Give the units of the plant."""
    plant = study.records.plant
    return name_units(plant.usage_unit, plant.currency)


def study_window(study: ReadableStudy) -> str:
    """Say which days the records cover; an end that nobody wrote shows as a dash."""
    plant = study.records.plant
    return f"Records {write_date(plant.records_from)} to {write_date(plant.records_to)}."


def study_name(study: ReadableStudy) -> str:
    """Give the name of the plant, or words that stand for it."""
    return str(study.records.plant.name).strip() or "This plant"


def study_measures(study: ReadableStudy) -> str:
    """Say what usage and money are counted in."""
    units = study_units(study)
    if units.currency == NO_CURRENCY:
        return f"Usage in {units.usage}; plant.toml names no currency."
    return f"Usage in {units.usage}, money in {units.currency}."


def is_invented(study: ReadableStudy) -> bool:
    """Tell whether plant.toml marks the plant as an invented example, or its name says so."""
    plant = study.records.plant
    general: Mapping[str, Any] = plant.raw.get("plant", {})
    return bool(general.get("invented", False)) or "invented" in plant.name.lower()


def find_table(study: ReadableStudy, name: str) -> pd.DataFrame:
    """Give an output table, empty where the study has none."""
    return study.tables.get(name, pd.DataFrame())
