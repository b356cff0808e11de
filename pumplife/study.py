"""The whole route as one object: read, clean, build lives, fit, advise, stock, budget."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from pumplife.fits.alike.changes import split_where_changed
from pumplife.fits.alike.likeness import compare_lives
from pumplife.fits.build import Fits, fit_lives
from pumplife.fits.duty_effects import find_duty_effects
from pumplife.fits.opinions import say_second_opinions
from pumplife.lives.build import Lives, build_lives
from pumplife.lives.questions import list_questions
from pumplife.lives.rules.book import HISTORY_RULES
from pumplife.lives.rules.rule import run_rules
from pumplife.lives.rules.story import tell_story
from pumplife.records.duty import Duty, build_duty
from pumplife.records.meters import gather_readings
from pumplife.records.read import Records, Written, join_records, read_records, read_written
from pumplife.records.usage import UsageClock, build_clock
from pumplife.since.changes import find_changes
from pumplife.since.kept import open_kept

if TYPE_CHECKING:
    from pumplife.policy.advice import Advice
    from pumplife.stock.budget import Budget
    from pumplife.stock.stock_plan import StockPlan

STEPS = ("records", "usage", "lives", "fits", "intervals", "stock", "budget")
RESULTS = ("stock", "budget", "sensitivity", "materials")
"""What a study works out on top of the intervals; a budget has its stock worked out too."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Study:
    """Everything that one run found out about a plant.

    Attributes
    ----------
    records : Records
        What the plant wrote down, cleaned, with the audit.
    duty : Duty or None
        Where its pumps stood; like clock, lives and fits None where the records stop the study.
    clock : UsageClock or None
        How much they ran [usage].
    lives : Lives or None
        How long parts lasted [usage].
    fits : Fits or None
        What was fitted to that.
    advice : Advice or None
        Intervals with the due list; None where they are withheld.
    stock : StockPlan or None
        The stock plan; None where it is withheld.
    tables : dict of DataFrame
        Every output table by name.
    seed : int
        Seed of all random draws.
    budget : Budget or None
        The futures that the budget is taken from; None where it is withheld.
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
    budget: Budget | None = None

    def __repr__(self) -> str:
        return f"Study({self.records.plant.name!r}, tables: {', '.join(self.tables)})"

    @property
    def stopped(self) -> bool:
        """Whether the records stopped the study; the audit says why."""
        return self.fits is None


def run_study(
    path: str | Path,
    *,
    seed: int | None = None,
    costs: Mapping[str, Any] | None = None,
    rewind: bool = False,
    since: str | Path | None = None,
    results: Collection[str] = RESULTS,
    told: Callable[[str], None] = lambda step: None,
) -> Study:
    """Run the whole job on a plant folder or workbook.

    Parameters
    ----------
    path : str or Path
        Plant folder, or one .xlsx with a sheet per table.
    seed : int, optional
        Seed of all random draws: same folder and seed, same tables. 1 where it isn't given, or
        that of the older study.
    costs : mapping, optional
        Costs in place of those of the same name in [costs] of plant.toml.
    rewind : bool
        Whether the advice of past days is worked out too, see `run_rewind`; about twice the time.
    since : str or Path, optional
        Output folder of an older study: the table `changes` says which answers changed since and
        why; up to four more runs, one or two as a rule. It is for whole studies.
    results : collection of str
        What to work out on top of the intervals, of `RESULTS`; the tables of what is left out are
        missing, and so are its rows of the audit.
    told : callable
        Called with the name of each step as it begins, see `STEPS`.

    Raises
    ------
    FolderError
        If the path isn't there or can't be read.
    SettingError
        If a line of plant.toml can't be used.
    ComparisonError
        If the older study can't be compared with.
    ValueError
        If a result is unknown, or missing from a study that is compared with an older one.
    """
    _check_results(results, whole=since is not None)
    told("records")
    kept = None if since is None else open_kept(Path(since), seed)
    seed = (1 if seed is None else seed) if kept is None else kept.seed
    written = read_written(Path(path), costs=costs)
    study = _study_written(written, seed=seed, rewind=rewind, results=results, told=told)
    if kept is None:
        return study
    if "intervals" not in study.tables:
        return _not_compared(study)
    changes = find_changes(
        kept,
        written,
        study.tables,
        run=lambda files: _study_written(files, seed=seed).tables,
        told=told,
    )
    return replace(study, tables={**study.tables, "changes": changes})


def _check_results(results: Collection[str], *, whole: bool) -> None:
    unknown = sorted(set(results) - set(RESULTS))
    if unknown:
        raise ValueError(f"A study has no result {unknown[0]!r}; it has {', '.join(RESULTS)}.")
    if whole and set(results) != set(RESULTS):
        raise ValueError("An older study is compared with a whole one: leave out `results`.")


def _not_compared(study: Study) -> Study:
    """Say that there is nothing to compare an older study with."""
    study.records.log.add(
        "caution",
        "This study gives no intervals, so it isn't compared with the older one.",
        rule="not_compared",
        consequence="There is no table of changes.",
        remedy="Mend what the stops name, and run it again.",
    )
    return replace(study, tables={**study.tables, "audit": study.records.log.frame()})


def _study_written(
    written: Written,
    *,
    seed: int,
    rewind: bool = False,
    results: Collection[str] = RESULTS,
    told: Callable[[str], None] = lambda step: None,
) -> Study:
    """Run the whole job on files that were read."""
    records = join_records(written)
    if records.fatal:
        return _stopped(records, seed)
    told("usage")
    duty, clock = _read_usage(records)
    told("lives")
    lives, questions = build_lives(records, duty, clock), list_questions(records)
    if _lacks_lives(records, lives):
        return _stopped(records, seed)
    told("fits")
    lives, changes = split_where_changed(records, lives)
    fits, lives = fit_lives(records, lives, seed=seed)
    say_second_opinions(records, fits.table, fits.taken)
    effects = find_duty_effects(fits, lives, duty)
    fits, alike = compare_lives(records, lives, fits, changes, seed=seed)
    from pumplife.conclusions import Known, conclude  # noqa: PLC0415  (late: not for an audit)

    known = Known(
        records=records,
        duty=duty,
        clock=clock,
        lives=lives,
        fits=fits,
        alike=alike,
        questions=questions,
        seed=seed,
    )
    found = conclude(known, results=results, told=told)
    study = Study(
        records=records,
        duty=duty,
        clock=clock,
        lives=lives,
        fits=fits,
        advice=found.advice,
        stock=found.stock,
        budget=found.budget,
        tables={
            "lives": lives.table.drop(columns="pump"),
            "fits": fits.table,
            "duty_effects": effects,
            "questions": questions,
            "account": lives.account,
            **found.tables,
        },
        seed=seed,
    )
    if rewind:
        study = replace(study, tables={**study.tables, **_look_back(study, written, told)})
    return replace(study, tables={"audit": records.log.frame(), **study.tables})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RecordsCheck:
    """What is wrong with records.

    Parameters
    ----------
    audit, account, questions : DataFrame
        The tables of these names.
    stopped : bool
        Whether there can be no study.
    """

    audit: pd.DataFrame
    account: pd.DataFrame
    questions: pd.DataFrame
    stopped: bool

    def __repr__(self) -> str:
        return f"RecordsCheck({len(self.audit)} rows, {len(self.questions)} questions)"


def audit_records(path: str | Path) -> RecordsCheck:
    """What is wrong with the records, what they ask, and whether they stop a study."""
    records = read_records(Path(path))
    account, stopped = pd.DataFrame(), records.fatal
    if stopped:
        questions = list_questions(records)
    else:
        lives = build_lives(records, *_read_usage(records))
        questions = list_questions(records)
        account, stopped = lives.account, _lacks_lives(records, lives)
    return RecordsCheck(
        audit=records.log.frame(), account=account, questions=questions, stopped=stopped
    )


def _lacks_lives(records: Records, lives: Lives) -> bool:
    """Say whether there is no life to fit, which the log then tells."""
    if not lives.table.empty:
        return False
    records.log.add(
        "stop",
        "No life of any wearing part could be built from these records.",
        rule="no_lives",
        consequence="Nothing can be fitted.",
        remedy="See the cautions: most often usage, kits or dates are missing.",
    )
    return True


def _read_usage(records: Records) -> tuple[Duty, UsageClock]:
    """Where pumps stood and how much they ran; every pump's history is checked on the way.

    Millions of readings are copied only where they are written to.
    """
    duty = build_duty(records)
    metered = records.plant.usage_unit != "days"
    with pd.option_context("mode.copy_on_write", True):
        readings = gather_readings(records) if metered else None
        clock = build_clock(records, duty, readings)
        run_rules(HISTORY_RULES, tell_story(records, duty, clock, readings))
    return duty, clock


def _look_back(
    study: Study, written: Written, told: Callable[[str], None]
) -> dict[str, pd.DataFrame]:
    """The advice of past days, held against what was seen since."""
    lives, fits, clock = study.lives, study.fits, study.clock
    if lives is None or fits is None or clock is None:
        return {}
    from pumplife.rewind.rewind import Known, rewind_records  # noqa: PLC0415  (late: when asked)

    known = Known(records=study.records, clock=clock, lives=lives, fits=fits)
    found = rewind_records(written, known, seed=study.seed, told=told)
    return {"rewind": found.rows, "rewind_years": found.years}


def _stopped(records: Records, seed: int) -> Study:
    return Study(
        records=records,
        duty=None,
        clock=None,
        lives=None,
        fits=None,
        advice=None,
        stock=None,
        tables={"audit": records.log.frame(), "questions": list_questions(records)},
        seed=seed,
    )
