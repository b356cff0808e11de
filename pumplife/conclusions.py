"""What follows from lives and fits: intervals, stock, budget, what compares with what."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

import pandas as pd

from pumplife.fits.alike.likeness import Alike
from pumplife.fits.build import Fits
from pumplife.lives.build import Lives
from pumplife.lives.events import shock_demand
from pumplife.materials.table import compare_materials
from pumplife.policy.advice import Advice, advise
from pumplife.policy.ahead import open_outlook
from pumplife.policy.sensitivity import try_readings
from pumplife.records.duty import Duty
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock
from pumplife.since.kpi import Course, list_kpis
from pumplife.stock.booked import compare_booked
from pumplife.stock.bridge import LastYear, build_bridge
from pumplife.stock.budget import Budget, plan_budget
from pumplife.stock.by_pump import split_budget
from pumplife.stock.cash import plan_cash
from pumplife.stock.change_over import complete_budget
from pumplife.stock.demand_check import check_demand
from pumplife.stock.future import advised_groups
from pumplife.stock.plans import join_coming
from pumplife.stock.pump_pools import weigh_store
from pumplife.stock.pumps import list_pumps
from pumplife.stock.shelf import plan_stock
from pumplife.stock.stock_plan import StockPlan
from pumplife.ticket.answer import answer_tickets, close_due

Tables = dict[str, pd.DataFrame]
Told = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """What conclusions are drawn from.

    Attributes
    ----------
    records : Records
    duty : Duty
    clock : UsageClock
    lives : Lives
    fits : Fits
    alike : Alike
        What was found alike in the fits.
    questions : DataFrame
        The table of that name.
    seed : int
        Seed of all random draws.
    """

    records: Records
    duty: Duty
    clock: UsageClock
    lives: Lives
    fits: Fits
    alike: Alike
    questions: pd.DataFrame
    seed: int

    def __repr__(self) -> str:
        return f"Known({self.records.plant.name!r})"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Conclusions:
    """What was concluded.

    Attributes
    ----------
    advice : Advice or None
        None where intervals are withheld; so are stock and budget then.
    stock : StockPlan or None
    budget : Budget or None
    tables : dict of DataFrame
        Output tables by name.
    """

    advice: Advice | None
    stock: StockPlan | None
    budget: Budget | None
    tables: Tables

    def __repr__(self) -> str:
        return f"Conclusions({', '.join(self.tables)})"


def conclude(known: Known, *, results: Collection[str], told: Told) -> Conclusions:
    """Draw the conclusions.

    Parameters
    ----------
    known : Known
    results : collection of str
        What to work out on top of the intervals, of `pumplife.study.RESULTS`.
    told : callable
        Called with the name of each step as it begins.
    """
    advice, stock, budget = None, None, None
    tables: Tables = {}
    if "intervals" not in known.records.withheld:
        told("intervals")
        advice, tables = _advise(known)
        if {"stock", "budget"} & set(results):
            stock, budget, supplied = _supply(known, advice, results, told)
            tables |= supplied
        if "sensitivity" in results:
            tables["sensitivity"] = try_readings(
                known.records, known.clock, known.lives, known.fits, advice.groups
            )
    if not known.records.table("returned").empty:
        tables["ticket_answers"] = answer_tickets(known.records, known.lives, known.questions)
        if "due" in tables:
            tables["due"] = close_due(tables["due"], tables["ticket_answers"])
    tables |= _compare(known, advice, results)
    return Conclusions(advice=advice, stock=stock, budget=budget, tables=tables)


def _advise(known: Known) -> tuple[Advice, Tables]:
    advice = advise(known.records, known.duty, known.clock, known.lives, known.fits)
    return advice, {
        "intervals": advice.intervals,
        "tornado": advice.tornado,
        "policies": advice.policies,
        "costs": advice.costs,
        "due": advice.due,
        "load": advice.load,
        "outage": advice.outage,
        "few_intervals": advice.few,
    }


def _supply(
    known: Known, advice: Advice, results: Collection[str], told: Told
) -> tuple[StockPlan, Budget | None, Tables]:
    """Stock under the advice, and the budget where it is wanted."""
    told("stock")
    records, seed = known.records, known.seed
    outlook = open_outlook(records)
    coming = join_coming(records, advice, outlook)
    stock = plan_stock(records, known.lives, coming, seed=seed, outlook=outlook)
    tables = {
        "stock": stock.stock,
        "orders": stock.orders,
        "shelf": stock.shelf,
        "coverage": stock.coverage,
        "on_condition": stock.on_condition,
        "kit_or_parts": stock.kit_or_parts,
        **weigh_store(records, known.duty, coming.groups, stock, seed=seed),
        "demand_check": check_demand(
            records,
            known.clock,
            (known.lives, known.fits),
            advice,
            stock.stock,
            worked=(advised_groups(coming), stock.loose),
        ),
    }
    if "budget" not in results:
        return stock, None, tables
    told("budget")
    budget = plan_budget(
        records, known.lives, coming, seed=seed, outlook=outlook, loose=stock.loose
    )
    year = LastYear(records=records, clock=known.clock, lives=known.lives, advice=advice)
    tables |= {
        "budget": complete_budget(records, budget, stock),
        **split_budget(records, budget),
        "bridge": build_bridge(year, budget),
        "cash": plan_cash(records, budget, stock),
        "booked": compare_booked(year, known.fits, advice.groups),
    }
    return stock, budget, tables


def _compare(known: Known, advice: Advice | None, results: Collection[str]) -> Tables:
    """What lives that are fitted together look like side by side, and each pump among its peers."""
    records, duty, clock, lives = known.records, known.duty, known.clock, known.lives
    pumps = list_pumps(records, (duty, clock), lives, (known.fits, known.alike), advice)
    tables = {"pumps": pumps, "likeness": known.alike.likeness}
    if not lives.shocks.empty:
        tables["shocks"] = shock_demand(lives, records)
    if "materials" in results:
        tables |= compare_materials(records, duty, lives, known.fits, advice).tables
    course = Course(records=records, duty=duty, clock=clock, lives=lives, advice=advice)
    return tables | {"kpi": list_kpis(course)}
