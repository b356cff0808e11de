"""Figures that answer "what if": an interval, a stock level and a budget at other prices."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

import numpy as np
from matplotlib.axes import Axes

from pumplife.errors import RecordError
from pumplife.policy.what_if import prices_of, try_group
from pumplife.report import style
from pumplife.report.controls import Control, around, offer
from pumplife.report.face import ReadableStudy, study_units
from pumplife.report.figures import plot_cost_curve
from pumplife.report.figures_stock import plot_budget, plot_stock_risk
from pumplife.report.notebook import Shown
from pumplife.report.tables import write_number, write_share
from pumplife.stock.what_if import TriedItem, try_item, try_prices

if TYPE_CHECKING:
    from pumplife.policy.advice import Advice
    from pumplife.stock.budget import Budget
    from pumplife.stock.stock_plan import StockPlan

LOWEST_TARGET, HIGHEST_TARGET = 0.5, 0.995  # share of breakdowns met from the shelf
DEAREST = 3.0  # factor up to which the money of the budget moves


class Askable(ReadableStudy, Protocol):
    """A study that what-if questions can be put to."""

    @property
    def advice(self) -> Advice | None: ...
    @property
    def stock(self) -> StockPlan | None: ...
    @property
    def budget(self) -> Budget | None: ...


def try_interval(study: Askable, row: int) -> Shown:
    """The cost curve of one pump group, with its prices to be moved.

    Downtime, clean-up, kit and labour; the group is decided anew at each, all limits kept.

    Parameters
    ----------
    study : Askable
    row : int
        Of the intervals table.
    """
    advice, units = study.advice, study_units(study)
    if advice is None:
        raise RecordError("The study has no advice: see its audit.")
    plant, money = study.records.plant, units.currency
    words = {
        "downtime_per_h": f"An hour of lost production [{money}]",
        "clean_up": f"Clean-up after a release [{money}]",
        "kit_price": f"The kit, other parts in step [{money}]",
        "labour_per_h": f"An hour of labour [{money}]",
    }

    def draw(**prices: float) -> Axes:
        tried = try_group(plant, advice, row, **prices)
        way = "less" if tried.saving >= 0.0 else "more"
        caption = (
            f"The advice costs {write_number(abs(tried.saving))} {money} a year {way} than today's "
            "practice at these prices. Lives and limits as they are."
        )
        return plot_cost_curve(tried.curve, units=units, caption=caption)

    now = prices_of(advice.groups[row])
    return offer(draw, [around(name, words[name], now[name]) for name in words if now[name] > 0.0])


def try_level(study: Askable, store: str, item: str) -> Shown:
    """The stock risk of one item, with target, lead time and prices to be moved.

    Parameters
    ----------
    study : Askable
    store, item : str
        As in the stock table.
    """
    plan, money = study.stock, study_units(study).currency
    if plan is None or plan.held is None:
        raise RecordError("The study has no stock levels: see its audit.")
    held, key = plan.held, (store, item)
    terms = held.store.items[item]
    waiting = held.plant.cost("waiting_per_day")

    now: dict[str, float] = {}

    def draw(**terms: float) -> Axes:
        moved = {name: value for name, value in terms.items() if value != now[name]}
        tried = try_item(held, key, **moved)
        axes = plot_stock_risk([tried.curve])
        style.say(axes, _name_level(tried), _say_level(tried, money))
        return axes

    futures = held.futures
    lead = futures.lead[futures.keys.index(key)]
    longest = terms.lead_time_days * min(4.0, max(1.0, futures.longest_lead / lead.max()))
    offered = [
        Control(
            name="service_level",
            words="Breakdowns to be met from the shelf [share]",
            value=held.plant.service_level,
            low=LOWEST_TARGET,
            high=HIGHEST_TARGET,
            step=0.005,
        ),
        Control(
            name="lead_time",
            words="Usual lead time [days]",
            value=terms.lead_time_days,
            low=1.0,
            high=float(np.floor(longest)),
            step=1.0,
        ),
        around("waiting_per_day", f"A pump that waits for a day [{money}]", waiting),
        around("unit_cost", f"One piece [{money}]", terms.unit_cost),
    ]
    kept = [one for one in offered if np.isfinite(one.value) and one.value > 0.0]
    now |= {one.name: one.value for one in kept}
    return offer(draw, kept)


DECIDED = {
    "target": "the target decides",
    "cost": "the least cost decides",
    "min_order": "the least order decides",
    "shelf_life": "storage life decides",
}


def _name_level(tried: TriedItem) -> str:
    """The level as a figure's message."""
    row = tried.row
    return (
        f"{row['item']} at {row['store']}: reorder at {row['reorder_point']:.0f}, up to "
        f"{row['order_up_to']:.0f}; the chance of a shortage is {write_share(row['shortage_prob'])}"
    )


def _say_level(tried: TriedItem, money: str) -> str:
    """What the level does and costs, below the figure."""
    row = tried.row
    cost = row["cost_per_year"]
    priced = f", {write_number(cost)} {money} a year in all" if np.isfinite(cost) else ""
    bound = f" and {write_number(row['capital'])} {money} bound" if row["capital"] > 0.0 else ""
    return (
        f"{write_share(row['fill_rate'])} of breakdowns met from the shelf{bound}{priced}; "
        f"{DECIDED[row['limited_by']]}. Intervals as they are."
    )


def try_budget(study: Askable) -> Shown:
    """The money of the coming years, with what it pays times a factor each.

    Parameters
    ----------
    study : Askable
    """
    budget, units = study.budget, study_units(study)
    if budget is None or budget.setting is None:
        raise RecordError("The study has no budget: see its audit.")
    words = {
        "material": "Kits and parts [times their price]",
        "labour": "Labour [times its rate]",
        "downtime": "Lost production [times its cost]",
        "consequences": "Call-out and clean-up [times their cost]",
    }

    def draw(**factors: float) -> Axes:
        caption = "Each kind of money times its factor; ways of working and futures as they are."
        return plot_budget(try_prices(budget, factors), units=units, caption=caption)

    return offer(
        draw,
        [
            Control(name=name, words=text, value=1.0, low=0.0, high=DEAREST, step=0.05)
            for name, text in words.items()
        ],
    )
