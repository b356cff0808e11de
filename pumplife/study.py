"""The whole route as one object: read, clean, build lives, fit, advise, stock, budget."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from pumplife.fits.build import Fits, fit_lives
from pumplife.lives.build import Lives, build_lives
from pumplife.records.duty import Duty, build_duty
from pumplife.records.read import Records, read_records
from pumplife.records.usage import UsageClock, build_clock

if TYPE_CHECKING:
    from pumplife.policy.advice import Advice
    from pumplife.stock.shelf import StockPlan

STEPS = ("records", "usage", "lives", "fits", "intervals", "stock", "budget")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Study:
    """Everything that one run found out about a plant.

    Parameters
    ----------
    records, duty, clock, lives, fits
        What the plant wrote down, where its pumps stood, how much they ran, how long parts
        lasted and what was fitted to that. `duty` to `fits` are None where the records stop
        the study.
    advice, stock : Advice, StockPlan or None
        Intervals with the due list, and the stock plan; None where they are withheld.
    tables : dict of DataFrame
        Every output table by name.
    seed : int
        Seed of all random draws.
    """

    records: Records
    duty: Duty | None
    clock: UsageClock | None
    lives: Lives | None
    fits: Fits | None
    advice: Advice | None
    stock: StockPlan | None
    tables: dict[str, pd.DataFrame]
    seed: int

    def __repr__(self) -> str:
        return f"Study({self.records.plant.name!r}, tables: {', '.join(self.tables)})"

    @property
    def stopped(self) -> bool:
        """Whether the records stopped the study; the audit says why."""
        return self.fits is None


def run_study(
    path: str | Path, *, seed: int = 1, told: Callable[[str], None] = lambda step: None
) -> Study:
    """Run the whole job on a plant folder or workbook.

    Parameters
    ----------
    path : str or Path
        Plant folder, or one .xlsx with a sheet per table.
    seed : int
        Seed of all random draws: same folder and seed, same tables.
    told : callable
        Called with the name of each step as it begins, see `STEPS`.

    Raises
    ------
    FolderError
        If the path isn't there or can't be read.
    SettingError
        If a line of plant.toml can't be used.
    """
    told("records")
    records = read_records(Path(path))
    if records.fatal:
        return _stopped(records, seed)
    told("usage")
    duty = build_duty(records)
    clock = build_clock(records, duty)
    told("lives")
    lives = build_lives(records, duty, clock)
    if lives.table.empty:
        records.log.add(
            "stop",
            "No life of any wearing part could be built from these records.",
            rule="no_lives",
            consequence="Nothing can be fitted.",
            remedy="See the cautions: most often usage, kits or dates are missing.",
        )
        return _stopped(records, seed)
    told("fits")
    fits, lives = fit_lives(records, lives, seed=seed)
    study = Study(
        records=records,
        duty=duty,
        clock=clock,
        lives=lives,
        fits=fits,
        advice=None,
        stock=None,
        tables={
            "lives": lives.table.drop(columns="pump"),
            "fits": fits.table,
            "account": lives.account,
        },
        seed=seed,
    )
    study = _decide(study, told)
    return replace(study, tables={"audit": records.log.frame(), **study.tables})


def audit_records(path: str | Path) -> tuple[pd.DataFrame, pd.DataFrame, bool]:
    """What is wrong with the records, the account of them, and whether they stop a study."""
    records = read_records(Path(path))
    account = pd.DataFrame()
    if not records.fatal:
        duty = build_duty(records)
        account = build_lives(records, duty, build_clock(records, duty)).account
    return records.log.frame(), account, records.fatal


def _decide(study: Study, told: Callable[[str], None]) -> Study:
    """Advice, stock and budget where the records hold prices."""
    records, lives, fits = study.records, study.lives, study.fits
    if "intervals" in records.withheld:
        return study
    duty, clock = study.duty, study.clock
    if lives is None or fits is None or duty is None or clock is None:
        return study
    from pumplife.policy.advice import advise  # noqa: PLC0415  (late: not needed for an audit)
    from pumplife.policy.sensitivity import try_readings  # noqa: PLC0415
    from pumplife.stock.budget import plan_budget  # noqa: PLC0415
    from pumplife.stock.shelf import plan_stock  # noqa: PLC0415

    told("intervals")
    advice = advise(records, duty, clock, lives, fits)
    told("stock")
    stock = plan_stock(records, lives, advice, seed=study.seed)
    told("budget")
    tables = {
        "intervals": advice.intervals,
        "due": advice.due,
        "stock": stock.stock,
        "orders": stock.orders,
        "budget": plan_budget(records, lives, advice, seed=study.seed),
        "sensitivity": try_readings(records, clock, lives, fits, advice.groups),
    }
    return replace(study, advice=advice, stock=stock, tables={**study.tables, **tables})


def _stopped(records: Records, seed: int) -> Study:
    return Study(
        records=records,
        duty=None,
        clock=None,
        lives=None,
        fits=None,
        advice=None,
        stock=None,
        tables={"audit": records.log.frame()},
        seed=seed,
    )
