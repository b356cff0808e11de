"""Figures of the advice: ways of working, inputs, bench, few intervals, past advice, materials."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from pumplife.policy.groups import KEYS
from pumplife.report.drawn import Drawn, as_drawn, slug
from pumplife.report.evidence import fits_behind, order_by_stake, say_counts
from pumplife.report.face import ReadableStudy, find_table, study_units, study_window
from pumplife.report.figures_bench import few_table, load_table, plot_few, plot_load
from pumplife.report.figures_budget import bridge_table, cash_table, plot_bridge, plot_cash
from pumplife.report.figures_doubt import plot_tornado, tornado_table
from pumplife.report.figures_materials import plot_ratios, ratio_table
from pumplife.report.figures_rewind import plot_rewind, rewind_table
from pumplife.report.figures_trials import (
    plot_progress,
    plot_trial_power,
    progress_table,
    trial_power_table,
)
from pumplife.report.figures_ways import plot_ways, ways_table
from pumplife.report.pictures import capitalise
from pumplife.rewind.rewind import Rewind
from pumplife.rewind.years import say_years

MOST_LOOKED_AT = 8  # groups of which ways and inputs are drawn, those with most money at stake
MOST_PLANS = 4  # proposed trials of which the power is drawn
MOST_SERVICES = 3  # services of which materials are drawn


def draw_load(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw planned work against the hours of the bench."""
    load = find_table(study, "load")
    if not load.empty:
        caption = "All sites; work done at outages is left out. " + study_window(study)
        yield as_drawn("bench", "due", plot_load(load, caption=caption), load_table(load))


def draw_money(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw the way from last year's money to next year's, and what to order by month."""
    currency = study_units(study).currency
    bridge, cash = find_table(study, "bridge"), find_table(study, "cash")
    if not bridge.empty:
        caption = "All sites. One input changed at a time, from left to right; means."
        axes = plot_bridge(bridge, currency, caption=caption)
        yield as_drawn("bridge", "budget", axes, bridge_table(bridge))
    if not cash.empty:
        caption = "All sites. Expected orders of kits and loose parts; orders under way left out."
        axes = plot_cash(cash, currency, caption=caption)
        yield as_drawn("cash", "budget", axes, cash_table(cash))


def draw_few(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw what a few intervals for the whole plant cost."""
    few = find_table(study, "few_intervals")
    if len(few) > 1:
        axes = plot_few(few, study_units(study).currency, study_units(study).usage)
        yield as_drawn("few-intervals", "few", axes, few_table(few))


def _most_at_stake(study: ReadableStudy, table: str) -> Iterator[tuple[int, pd.Series, str]]:
    """Rows of intervals that a table tells of, those with most money at stake, with their names."""
    intervals, told = find_table(study, "intervals"), find_table(study, table)
    if intervals.empty or told.empty:
        return
    known = set(told[KEYS].astype(str).agg("|".join, axis=1))
    names = intervals[KEYS].astype(str).agg("|".join, axis=1)
    places = [place for place in order_by_stake(intervals) if names.iloc[place] in known]
    for place in places[:MOST_LOOKED_AT]:
        row = intervals.iloc[place]
        yield place, row, slug(f"{place + 1:02d} {row['service']} {row['side']} {row['kit']}")


def draw_ways(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw the ways of working side by side, group by group."""
    units, window = study_units(study), study_window(study)
    for place, row, name in _most_at_stake(study, "policies"):
        keys = {name: row[name] for name in KEYS if not pd.isna(row[name])}
        table = ways_table(find_table(study, "policies"), keys, units)
        size = "" if pd.isna(row["size_mm"]) else f", {row['size_mm']:g} mm"
        title = f"{capitalise(str(row['service']))}{size}, {row['side']} side, kit {row['kit']}"
        caption = f"Bars: 90 %. {say_counts(fits_behind(study, place))} {window}"
        axes = plot_ways(table, title=title, units=units, caption=caption)
        yield as_drawn(f"ways-{name}", "ways", axes, table, place)


def draw_inputs(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw how the saving moves with each input, group by group."""
    units, tornado = study_units(study), find_table(study, "tornado")
    for place, row, name in _most_at_stake(study, "tornado"):
        group = ", ".join(str(row[key]) for key in ("service", "side", "kit") if row[key])
        caption = (
            f"{capitalise(group)}. {say_counts(fits_behind(study, place))} {study_window(study)}"
        )
        axes = plot_tornado(tornado, row, units=units, caption=caption)
        yield as_drawn(f"inputs-{name}", "inputs", axes, tornado_table(tornado, row), place)


def say_rewound(study: ReadableStudy) -> str:
    """Say what the past days come to; "" where the study didn't look back."""
    years = find_table(study, "rewind_years")
    return "" if years.empty else say_years(years, find_table(study, "rewind"))


def draw_rewind(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw past advice against what came since, where the study looked back."""
    years = find_table(study, "rewind_years")
    if years.empty:
        return
    found = Rewind(rows=find_table(study, "rewind"), years=years, sentence=say_rewound(study))
    for measure in ("cost", "failures"):
        table = rewind_table(found, measure)
        if len(table):
            axes = plot_rewind(found, units=study_units(study), measure=measure)
            yield as_drawn(f"rewind-{measure}", "rewind", axes, table)


def draw_ratios(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw life ratios of materials, in the services whose records tell most of them."""
    materials = find_table(study, "materials")
    if materials.empty:
        return
    told = materials[materials["life_ratio"].notna() & materials["service"].ne("")]
    for service in told["service"].value_counts().index[:MOST_SERVICES]:
        table = ratio_table(materials, str(service))
        if len(table):
            axes = plot_ratios(materials, str(service), caption=study_window(study))
            yield as_drawn(f"ratios-{slug(str(service))}", "materials", axes, table)


def draw_trials(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw running trials against their bounds, and what proposed ones would show."""
    looks, trials = find_table(study, "trial_looks"), find_table(study, "trials")
    if len(looks):
        axes = plot_progress(looks, trials)
        yield as_drawn("trials", "trials", axes, progress_table(looks))
    powers = find_table(study, "trial_power")
    if powers.empty:
        return
    keys = ["service", "part", "material", "variant", "reference"]
    for place, (key, mine) in enumerate(powers.groupby(keys, sort=False)):
        if place < MOST_PLANS:
            axes = plot_trial_power(mine, units=study_units(study))
            name = slug(" ".join(str(word) for word in key))
            yield as_drawn(f"trial-power-{name}", "trial_plans", axes, trial_power_table(mine))
