"""Figures of what money on the shelf buys draw their tables and say what these say."""

import numpy as np
import pandas as pd
import pytest

from pumplife.report.figures_stores import (
    MOST_BARS,
    MOST_LINES,
    bars_table,
    frontier_table,
    lines_table,
    plot_bars,
    plot_frontier,
    plot_lines,
    plot_waiting,
    waiting_table,
)
from pumplife.report.headings_stores import OF_STORES
from pumplife.report.style import read_title
from pumplife.report.words import UNIT_OF_KIND
from pumplife.stock.frontier import FRONTIER_COLUMNS, LEVEL_COLUMNS
from pumplife.stock.pooling import POOLING_COLUMNS
from pumplife.stock.pump_pools import ROTABLE_COLUMNS
from pumplife.stock.transfers import TRANSFER_COLUMNS

FRONTIER = pd.DataFrame(
    [
        ("frontier", 0.0, 0.0, 900.0, 0.0, "", ""),
        ("frontier", 1.0, 100.0, 400.0, 0.5, "A", "K"),
        ("frontier", 2.0, 300.0, 50.0, 0.9, "B", "K"),
        ("frontier", 3.0, 600.0, 0.0, 1.0, "A", "K"),
        ("advised", 2.0, 350.0, 60.0, 0.9, "", ""),
        ("today", 3.0, 320.0, 450.0, 0.4, "", ""),
    ],
    columns=list(FRONTIER_COLUMNS),
)


def levels():
    """Nine items of four levels: K1 with least cash, advised at 2, today at 1."""
    rows = [
        ("A", f"K{n}", "kit", up_to - 1.0, float(up_to), 0.4 / 4**up_to, 0.5, n * 10.0 * up_to,
         n * 8.0 / 4**up_to, n * 90.0 / 4**up_to, 5.0, {1: "today", 2: "advised"}.get(up_to, ""))
        for n in range(1, 10) for up_to in range(4)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(LEVEL_COLUMNS))


def test_the_frontier_says_what_the_same_money_would_do():
    axes = plot_frontier(FRONTIER, "EUR")
    line, *dots = axes.lines
    drawn = frontier_table(FRONTIER)
    assert line.get_xdata().tolist() == drawn["capital"].tolist()[:4]
    assert [(d.get_xdata()[0], d.get_ydata()[0]) for d in dots] == [(320.0, 450.0), (350.0, 60.0)]
    title = read_title(axes)
    assert "wait 450 days a year with today's shelf of 320 EUR, 50.0 were the same money" in title
    assert "60.0 as advised, for 350 EUR" in title


def test_the_frontier_says_nothing_of_money_below_its_first_point():
    poor = FRONTIER[FRONTIER["capital"].ge(330.0) | FRONTIER["point"].eq("today")]
    title = read_title(plot_frontier(poor, "EUR"))
    assert title == (
        "Pumps wait 450 days a year with today's shelf of 320 EUR; 60.0 as advised, for 350 EUR"
    )


@pytest.mark.parametrize("column", ["shortage_prob", "shortage_cost"])
def test_lines_show_the_items_with_most_cash(column):
    lines = lines_table(levels())
    assert lines["item"].unique().tolist() == [f"K{n}" for n in range(9, 9 - MOST_LINES, -1)]
    assert lines["order_up_to"].min() == 1  # nothing kept is left out
    axes = plot_lines(lines, column, "EUR")
    first = lines[lines["item"] == "K9"]
    assert axes.lines[0].get_ydata().tolist() == first[column].tolist()
    advised = first.loc[first["mark"] == "advised", column]
    assert axes.lines[1].get_ydata().tolist() == advised.tolist()


def test_waiting_bars_today_and_advised():
    waits = waiting_table(levels())
    assert waits["item"].tolist() == [f"K{n}" for n in range(9, 0, -1)]
    assert waits.loc[0, ["today", "advised"]].tolist() == [18.0, 4.5]
    axes = plot_waiting(waits)
    widths = [bar.get_width() for bar in axes.patches]
    assert widths == [*waits["today"], *waits["advised"]]
    assert "wait 90.0 days a year with today's shelf, 22.5 as advised" in read_title(axes)


def test_an_item_where_both_marks_fall_on_one_level_has_both_bars():
    table = levels().replace({"mark": {"advised": "advised and today", "today": ""}})
    waits = waiting_table(table)
    assert (waits["today"] == waits["advised"]).all()


def test_bars_show_surplus_at_its_price_and_the_worth_of_lead_time():
    stock = pd.DataFrame(
        {
            "store": "A", "item": [f"K{n}" for n in range(20)],
            "surplus_value": 10.0 * np.arange(20.0), "lead_time_worth": 7.0,
        }
    )  # fmt: skip
    surplus = bars_table(stock, "surplus_value")
    assert len(surplus) == MOST_BARS
    assert surplus["surplus_value"].tolist() == [10.0 * n for n in range(19, 19 - MOST_BARS, -1)]
    axes = plot_bars(surplus, "surplus_value", "EUR")
    assert [bar.get_width() for bar in axes.patches] == surplus["surplus_value"].tolist()
    sooner = plot_bars(bars_table(stock, "lead_time_worth"), "lead_time_worth", "EUR")
    assert read_title(sooner) == "Ten days less lead time is worth 84.0 EUR a year in these items"
    assert bars_table(stock.assign(surplus_value=0.0), "surplus_value").empty
    assert bars_table(pd.DataFrame(), "surplus_value").empty


def test_every_column_has_its_words():
    shared = {
        "item", "why", "pumps", "store", "reorder_point", "order_up_to", "shortage_prob",
        "fill_rate", "capital", "pump_days_waiting", "cost_per_year", "demand_per_year",
            "quantity",
    }  # fmt: skip
    for table, columns in (
        ("pooling", POOLING_COLUMNS), ("transfers", TRANSFER_COLUMNS),
        ("rotables", ROTABLE_COLUMNS),
        ("stock_levels", LEVEL_COLUMNS), ("stock_frontier", FRONTIER_COLUMNS),
    ):  # fmt: skip
        unnamed = {name for name in columns if (table, name) not in OF_STORES} - shared
        assert not unnamed, (table, unnamed)
    known = {*UNIT_OF_KIND, "text", "code", "count", "number", "share", "date"}
    assert {heading.kind for heading in OF_STORES.values()} <= known
