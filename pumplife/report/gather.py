"""Every figure of one study, with its data and the words for those who can't see it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from pumplife.report import style
from pumplife.report.events import breakdowns_by_service
from pumplife.report.evidence import fits_behind
from pumplife.report.face import ReadableStudy, find_table, study_units, study_window
from pumplife.report.figures import cost_curve_table, due_table, plot_cost_curve, plot_due
from pumplife.report.figures_fleet import fleet_table, plot_fleet
from pumplife.report.figures_lives import (
    forest_table,
    life_curves_table,
    plot_forest,
    plot_life_curves,
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
from pumplife.report.figures_timeline import plot_timeline, timeline_table
from pumplife.report.headline import say_withheld
from pumplife.report.pictures import (
    capitalise,
    draw_life,
    name_group,
    picture_fit,
    rank_longest,
)
from pumplife.report.tables import write_chance

MOST_CURVES = 20  # cost curves, those with most money at stake
MOST_PLOTS = 12  # probability plots, those with most failures
OPEN_PLOTS = 3  # Weibull plots that the page shows unfolded: those with most failures
MOST_FORESTS = 4
MOST_COMPARED = 4  # figures of materials within a service
MOST_STORIES = 6  # pumps whose story is drawn, those with most cautions


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """One figure of the report.

    Attributes
    ----------
    name : str
        File name without its ending.
    section : str
        Where on the page: group, due, stock, budget, fits, more_fits, records or stories.
    axes : Axes
        The drawing.
    data : DataFrame
        What is drawn.
    alt : str
        The message in words.
    row : int
        Row of intervals that the figure belongs to; -1 for none.
    """

    name: str
    section: str
    axes: Axes
    data: pd.DataFrame
    alt: str
    row: int = -1

    def __repr__(self) -> str:
        return f"Drawn({self.name}: {self.alt})"


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
    makers = (_due, _cost_curves, _stock, _budget, _forests, _compared, _plots, _records, _stories)
    return [drawn for maker in makers for drawn in maker(study)]


def _drawn(name: str, section: str, axes: Axes, data: pd.DataFrame, row: int = -1) -> Drawn:
    return Drawn(
        name=name, section=section, axes=axes, data=data, alt=style.read_title(axes), row=row
    )


def slug(words: str) -> str:
    """Turn words into a file name: lower-case letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-") or "figure"


def _due(study: ReadableStudy) -> Iterator[Drawn]:
    due = find_table(study, "due")
    if due.empty or due["do_on"].isna().all():
        return
    today = study.records.plant.records_to
    caption = "Pumps and sides that run to failure have no date. Outages are taken into account."
    yield _drawn("due", "due", plot_due(due, today, caption=caption), due_table(due, today))


def order_by_stake(intervals: pd.DataFrame) -> list[int]:
    """Order the rows of intervals by the money at stake, most first.

    Parameters
    ----------
    intervals : DataFrame
        The output table.

    Returns
    -------
    list of int
        Positions of rows; withheld rows come last.
    """
    if intervals.empty:
        return []
    stake = intervals["saving_per_year"].abs().fillna(-1.0).to_numpy(dtype=float)
    return [int(place) for place in np.argsort(-stake, kind="stable")]


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
        caption = f"Band: 90 %, from the doubt in the lives. {_group_counts(study, place)} {window}"
        axes = plot_cost_curve(curve, units=units, caption=caption)
        name = f"cost-{place + 1:02d}-{slug(curve.title)}"
        yield _drawn(name, "group", axes, cost_curve_table(curve), place)


def _group_counts(study: ReadableStudy, place: int) -> str:
    mine = fits_behind(study, place)
    if mine.empty:
        return ""
    failures, suspensions = float(mine["failures"].sum()), float(mine["suspensions"].sum())
    return f"{failures:,.0f} failures and {suspensions:,.0f} suspensions of the kit's parts."


def _stock(study: ReadableStudy) -> Iterator[Drawn]:
    curves = list(study.stock.curves) if study.stock is not None else []
    if not curves:
        return
    caption = (
        "Unplanned demand over lead time and review; planned kits are ordered by the due list."
    )
    shown = curves[:6]  # the dearest shelves come first
    axes = plot_stock_risk(shown, caption=caption)
    yield _drawn("stock-risk", "stock", axes, stock_risk_table(shown))


def _budget(study: ReadableStudy) -> Iterator[Drawn]:
    budget = find_table(study, "budget")
    if budget.empty or budget_table(budget).empty:
        return
    whose = ", ".join(filter(None, ["All sites", say_withheld(study)]))
    caption = (
        f"{whose}. Years are 12 months from {study.records.plant.records_to:%Y-%m-%d}. "
        "Solid: P50; paler: P80; palest: P90, of simulated years."
    )
    axes = plot_budget(budget, units=study_units(study), caption=caption)
    yield _drawn("budget", "budget", axes, budget_table(budget))


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
        yield _drawn(f"lives-{slug(part)}", "fits", axes, forest_table(fits, part))


def _say_unknown(fits: pd.DataFrame, part: str, *, most: int = 6) -> str:
    """Name the groups of a part that a figure can't show, for lack of failures."""
    mine = (fits["part"] == part) & (fits["endpoint"] != "worn or failed")
    rows = fits[mine & ~np.isfinite(fits["scale"].astype(float))]
    names = [name_group(row, leave_out=("part",)) for row in rows.to_dict("records")]
    if not names:
        return ""
    more = f"; and {len(names) - most} more" if len(names) > most else ""
    return f"Left out for lack of failures: {'; '.join(names[:most])}{more}."


def _compared(study: ReadableStudy) -> Iterator[Drawn]:
    """Materials of one part in one service, where there are at least two."""
    fits = _failed_only(find_table(study, "fits"))
    if fits.empty:
        return
    groups = [
        (part, service, rows)
        for (part, service), rows in fits.groupby(["part", "service"], sort=True)
        if len(rows["material"].unique()) > 1
    ]
    groups.sort(key=lambda group: -float(group[2]["failures"].sum()))
    for part, service, rows in groups[:MOST_COMPARED]:
        yield _compare(study, str(part), str(service), rows.head(5))


def _compare(study: ReadableStudy, part: str, service: str, rows: pd.DataFrame) -> Drawn:
    assert study.fits is not None
    age = np.linspace(0.0, 1.6 * float(rows["scale"].median()), 90)
    places = [int(str(place)) for place in rows.index]
    names = [
        name_group(row, leave_out=("service", "part")) or "all" for row in rows.to_dict("records")
    ]
    curves = [
        draw_life(name, study.fits.draws[place], age)
        for name, place in zip(names, places, strict=True)
    ]
    best, chance = rank_longest(study.fits.draws[places])
    title = (
        f"{capitalise(service)}: the {names[best]} {part} outlasts the other materials with a "
        f"chance of {write_chance(chance)}"
    )
    caption = (
        "Median and 90 % band; the chance is that of the longer mean life, not corrected for "
        f"where each was fitted. {study_window(study)}"
    )
    axes = plot_life_curves(curves, units=study_units(study), title=title, caption=caption)
    name = f"materials-{slug(part)}-{slug(service)}"
    return _drawn(name, "fits", axes, life_curves_table(curves))


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
        yield _drawn(name, section, axes, weibull_table(picture))


def _records(study: ReadableStudy) -> Iterator[Drawn]:
    account = find_table(study, "account")
    if not account.empty:
        axes = plot_record_funnel(account, caption=study_window(study))
        yield _drawn("records", "records", axes, record_funnel_table(account))
    if study.duty is not None and study.lives is not None and len(study.lives.visits):
        events = breakdowns_by_service(study.records.plant, study.duty, study.lives.visits)
        caption = f"Mean cumulative function with 90 % band. {study_window(study)}"
        axes = plot_mean_cumulative(events, caption=caption)
        yield _drawn("breakdowns", "records", axes, mean_cumulative_table(events))


def _stories(study: ReadableStudy) -> Iterator[Drawn]:
    """A strip for every pump, and the stories of the pumps with most cautions."""
    if study.lives is None or study.lives.gathered is None:
        return
    yield _drawn("pumps", "stories", plot_fleet(study), fleet_table(study))
    audit = find_table(study, "audit")
    named = audit.loc[audit["severity"].eq("caution"), "pump_id"]
    known = named[named.isin(study.records.pumps["pump_id"])]
    worst = known.value_counts().rename_axis("pump_id").reset_index(name="cautions")
    worst = worst.sort_values(["cautions", "pump_id"], ascending=[False, True])
    for pump_id in worst["pump_id"].head(MOST_STORIES):
        name = f"timeline-{slug(pump_id)}"
        yield _drawn(name, "stories", plot_timeline(study, pump_id), timeline_table(study, pump_id))
