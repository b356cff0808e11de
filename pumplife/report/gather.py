"""Every figure of one study, with its data and the words for those who can't see it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pumplife.report.drawn import Drawn, as_drawn, slug
from pumplife.report.events import DAYS_PER_YEAR, breakdowns_by_service
from pumplife.report.evidence import fits_behind, order_by_stake, say_counts
from pumplife.report.face import ReadableStudy, find_table, study_units, study_window
from pumplife.report.figures import cost_curve_table, due_table, plot_cost_curve, plot_due
from pumplife.report.figures_fleet import fleet_table, pick_fleet, plot_fleet
from pumplife.report.figures_lives import (
    forest_table,
    plot_forest,
    plot_weibull,
    weibull_table,
)
from pumplife.report.figures_records import (
    mean_cumulative_table,
    plot_mean_cumulative,
    plot_record_funnel,
    record_funnel_table,
)
from pumplife.report.figures_stock import (
    budget_table,
    plot_budget,
    plot_stock_risk,
    stock_risk_table,
)
from pumplife.report.figures_stores import draw_stores
from pumplife.report.figures_timeline import plot_timeline, timeline_of, timeline_table
from pumplife.report.gather_advice import (
    draw_few,
    draw_inputs,
    draw_load,
    draw_money,
    draw_ratios,
    draw_rewind,
    draw_trials,
    draw_ways,
)
from pumplife.report.gather_lives import draw_alive, draw_calibration
from pumplife.report.headline import say_withheld
from pumplife.report.pictures import (
    name_group,
    picture_fit,
)

MOST_CURVES = 20  # cost curves, those with most money at stake
MOST_PLOTS = 12  # probability plots, those with most failures
OPEN_PLOTS = 3  # Weibull plots that the page shows unfolded: those with most failures
MOST_FORESTS = 4
MOST_STORIES = 6  # pumps whose story is drawn, those with most cautions


def gather_figures(study: ReadableStudy) -> list[Drawn]:
    """Draw every figure that the study has data for.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    list of Drawn
        In the order of the page.
    """
    makers = (
        _due, draw_load, draw_few, _cost_curves, draw_ways, draw_inputs, draw_rewind, _stock,
        draw_stores, draw_calibration, _budget, draw_money, draw_ratios, draw_trials, _forests,
        draw_alive, _plots, _records, _stories,
    )  # fmt: skip
    return [drawn for maker in makers for drawn in maker(study)]


def _due(study: ReadableStudy) -> Iterator[Drawn]:
    due = find_table(study, "due")
    if due.empty or due["do_on"].isna().all():
        return
    today = study.records.plant.records_to
    caption = "Pumps and sides that run to failure have no date. Outages are taken into account."
    yield as_drawn("due", "due", plot_due(due, today, caption=caption), due_table(due, today))


def _cost_curves(study: ReadableStudy) -> Iterator[Drawn]:
    intervals = find_table(study, "intervals")
    if study.advice is None or intervals.empty:
        return
    units, window = study_units(study), study_window(study)
    curves = list(study.advice.curves)
    places = [place for place in order_by_stake(intervals) if place < len(curves)]
    shown = [place for place in places if curves[place] is not None][:MOST_CURVES]
    for place in shown:
        curve = curves[place]
        assert curve is not None
        counts = say_counts(fits_behind(study, place))
        caption = f"Band: 90 %, from the doubt in the lives. {counts} {window}"
        axes = plot_cost_curve(curve, units=units, caption=caption)
        name = f"cost-{place + 1:02d}-{slug(curve.title)}"
        yield as_drawn(name, "group", axes, cost_curve_table(curve), place)


def _stock(study: ReadableStudy) -> Iterator[Drawn]:
    curves = list(study.stock.curves) if study.stock is not None else []
    if not curves:
        return
    caption = (
        "Unplanned demand over lead time and review; planned kits are ordered by the due list."
    )
    shown = curves[:6]  # the dearest shelves come first
    axes = plot_stock_risk(shown, caption=caption)
    yield as_drawn("stock-risk", "stock", axes, stock_risk_table(shown))


def _budget(study: ReadableStudy) -> Iterator[Drawn]:
    budget = find_table(study, "budget")
    if budget.empty or budget_table(budget).empty:
        return
    whose = ", ".join(filter(None, ["All sites", say_withheld(study)]))
    caption = (
        f"{whose}. From the day after {study.records.plant.records_to:%Y-%m-%d}. "
        "Solid: P50; paler: P80; palest: P90, of simulated years."
    )
    axes = plot_budget(budget, units=study_units(study), caption=caption)
    yield as_drawn("budget", "budget", axes, budget_table(budget))


def _failed_only(fits: pd.DataFrame) -> pd.DataFrame:
    if fits.empty:
        return fits
    known = np.isfinite(fits["scale"].astype(float)) & (fits["endpoint"] != "worn or failed")
    known &= fits["mode"] == ""
    if "period" in fits:
        known &= fits["period"] == ""
    return fits.loc[known]


def _forests(study: ReadableStudy) -> Iterator[Drawn]:
    every = find_table(study, "fits")
    fits = _failed_only(every)
    if fits.empty:
        return
    known = fits.groupby("part").agg(failures=("failures", "sum"), groups=("part", "size"))
    known = known.sort_values("failures", ascending=False, kind="stable")
    parts = list(known.index[known["groups"] > 1][:MOST_FORESTS])
    rest = ", ".join(str(part) for part in every["part"].unique() if part not in parts)
    first = f"Parts with few failures or one group are in the table: {rest}." if rest else ""
    for part in parts:
        words = [_say_unknown(every, part), first if part == parts[0] else "", study_window(study)]
        caption = " ".join(filter(None, words))
        axes = plot_forest(fits, part, units=study_units(study), caption=caption)
        yield as_drawn(f"lives-{slug(part)}", "fits", axes, forest_table(fits, part))


def _say_unknown(fits: pd.DataFrame, part: str, *, most: int = 6) -> str:
    """Name the groups of a part that a figure can't show, for lack of failures."""
    mine = (fits["part"] == part) & (fits["endpoint"] != "worn or failed")
    rows = fits[mine & ~np.isfinite(fits["scale"].astype(float))]
    names = [name_group(row, leave_out=("part",)) for row in rows.to_dict("records")]
    if not names:
        return ""
    more = f"; and {len(names) - most} more" if len(names) > most else ""
    return f"Left out for lack of failures: {'; '.join(names[:most])}{more}."


def _plots(study: ReadableStudy) -> Iterator[Drawn]:
    fits = _failed_only(find_table(study, "fits"))
    if fits.empty:
        return
    assert study.fits is not None
    rows = fits[fits["failures"] >= 3].sort_values("failures", ascending=False, kind="stable")
    shown = rows.head(MOST_PLOTS)
    for rank, (place, row) in enumerate(zip(shown.index, shown.to_dict("records"), strict=True)):
        number = int(str(place))
        picture = picture_fit(study.fits.taken, number, row, study.fits.draws[number])
        caption = study_window(study)
        axes = plot_weibull(picture, units=study_units(study), caption=caption)
        name = f"weibull-{number + 1:02d}-{slug(picture.title)}"
        section = "fits" if rank < OPEN_PLOTS else "more_fits"
        yield as_drawn(name, section, axes, weibull_table(picture))


def _records(study: ReadableStudy) -> Iterator[Drawn]:
    account = find_table(study, "account")
    if not account.empty:
        axes = plot_record_funnel(account, caption=study_window(study))
        yield as_drawn("records", "records", axes, record_funnel_table(account))
    if study.duty is not None and study.lives is not None and len(study.lives.visits):
        events = breakdowns_by_service(study.records.plant, study.duty, study.lives.visits)
        count = sum(int(one.events.sum()) for one in events.values())
        caption = f"Mean cumulative function with 90 % band, {count:,} breakdowns. "
        first, last = study.records.plant.window()
        axes = plot_mean_cumulative(
            events,
            end=(last + 1.0 - first) / DAYS_PER_YEAR,
            caption=caption + study_window(study),
        )
        yield as_drawn("breakdowns", "records", axes, mean_cumulative_table(events))


def _stories(study: ReadableStudy) -> Iterator[Drawn]:
    """A strip for every pump, and the stories of the pumps with most cautions."""
    if study.lives is None or study.lives.gathered is None:
        return
    audit = find_table(study, "audit")
    named = audit.loc[audit["severity"].eq("caution"), "pump_id"]
    known = named[named.isin(study.records.pumps["pump_id"])]
    worst = known.value_counts().rename_axis("pump_id").reset_index(name="cautions")
    worst = worst.sort_values(["cautions", "pump_id"], ascending=[False, True])
    told = [str(pump_id) for pump_id in worst["pump_id"].head(MOST_STORIES)]
    every = timeline_of(study, list(dict.fromkeys([*pick_fleet(study), *told])))
    strips = fleet_table(study, timeline=every)
    yield as_drawn("pumps", "stories", plot_fleet(study, drawn=strips), strips)
    for pump_id in told:
        axes = plot_timeline(study, pump_id, timeline=every)
        table = timeline_table(study, pump_id, timeline=every)
        yield as_drawn(f"timeline-{slug(pump_id)}", "stories", axes, table)
