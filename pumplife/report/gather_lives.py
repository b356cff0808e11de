"""Figures of lives service by service, and of what the lives foretold against what came."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pumplife.report.drawn import Drawn, as_drawn, slug
from pumplife.report.face import ReadableStudy, find_table, study_units, study_window
from pumplife.report.figures_calibration import calibration_table, plot_calibration
from pumplife.report.figures_lives import life_curves_table, plot_life_curves
from pumplife.report.pictures import LifeCurve, capitalise, draw_life, name_group
from pumplife.report.tables import write_count, write_number

MOST_SERVICES = 3  # services of which the parts' lives are drawn, those with most failures
MOST_PARTS = 6
FEWEST_FAILURES = 3
AGES = 120


def draw_alive(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw the share of parts alive against age, the parts of one service side by side."""
    fits = find_table(study, "fits")
    if fits.empty or study.fits is None:
        return
    units, draws = study_units(study), study.fits.draws
    for service, rows in _parts_by_service(fits):
        last = float((1.6 * rows["scale"].astype(float)).min())
        ages = np.linspace(0.0, last, AGES)
        curves = [
            draw_life(name_group(row, leave_out=("service",)), draws[int(str(number))], ages)
            for number, row in zip(rows.index, rows.to_dict("records"), strict=True)
        ]
        counts = ", ".join(
            f"{curve.label} {write_count(float(failures))} and {write_count(float(suspended))}"
            for curve, failures, suspended in zip(
                curves, rows["failures"], rows["suspensions"], strict=True
            )
        )
        caption = f"90 % bands. Failures and suspensions: {counts}. {study_window(study)}"
        title = _say_first(service, curves, units.usage)
        axes = plot_life_curves(curves, units=units, title=title, caption=caption)
        yield as_drawn(f"alive-{slug(service)}", "fits", axes, life_curves_table(curves))


def _parts_by_service(fits: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    """Pick of each service the fit with most failures of each part; services of two parts up."""
    known = np.isfinite(fits["scale"].astype(float)) & (fits["endpoint"] != "worn or failed")
    known &= (fits["mode"] == "") & (fits["failures"] >= FEWEST_FAILURES)
    if "period" in fits:
        known &= fits["period"] == ""
    rows = fits[known].sort_values("failures", ascending=False, kind="stable")
    rows = rows.drop_duplicates(["service", "part"])
    totals = rows.groupby("service", sort=False)["failures"].agg(["sum", "size"])
    totals = totals[totals["size"] > 1].sort_values("sum", ascending=False, kind="stable")
    return [
        (str(service), rows[rows["service"] == service].head(MOST_PARTS))
        for service in totals.index[:MOST_SERVICES]
    ]


def _say_first(service: str, curves: list[LifeCurve], usage: str) -> str:
    """Say which part of a service goes first."""
    halves = [
        float(np.interp(-0.5, -one.middle, one.t)) if one.middle[-1] <= 0.5 else np.inf
        for one in curves
    ]
    first = int(np.argmin(halves))
    start = capitalise(service)
    if not np.isfinite(halves[first]):
        last = write_number(float(curves[0].t[-1]))
        return f"{start}: more than half of every part is still alive at {last} {usage}"
    name = curves[first].label.replace(", ", " ")
    name = name[:1].lower() + name[1:]
    return f"{start}: {name} goes first, half of them by {write_number(halves[first])} {usage}"


def draw_calibration(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw what breakdowns took last year against what the lives expect of the same pumps."""
    check = find_table(study, "demand_check")
    if check.empty or calibration_table(check).empty:
        return
    caption = f"The last twelve months, kits and parts that breakdowns take. {study_window(study)}"
    axes = plot_calibration(check, caption=caption)
    yield as_drawn("calibration", "stock", axes, calibration_table(check))
