"""Past advice against what came since, and a challenged interval on its cost curve."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from pumplife.policy.challenge import Challenge
from pumplife.policy.interval import CostCurve
from pumplife.report import style
from pumplife.report.figures import plot_cost_curve
from pumplife.report.words import Units
from pumplife.rewind.rewind import Rewind

MEASURES = {
    "cost": ("cost", "realised_cost", "cost_inside"),
    "failures": ("predicted_failures", "realised_failures", "failures_inside"),
}
"""Start of the band's columns, what was realised, and whether it lay inside."""


def rewind_table(rewound: Rewind, measure: str = "cost") -> pd.DataFrame:
    """What `plot_rewind` draws, one row per past day.

    Parameters
    ----------
    rewound : Rewind
    measure : str
        cost (a year, of the testable groups) or failures (of all groups, since that day).

    Returns
    -------
    DataFrame
        as_of, predicted, low, high, realised, realised_low and realised_high (blank for
        failures, which were counted), inside; days that nothing can be told of are left out.
    """
    band, realised, inside = MEASURES[measure]
    years = rewound.years
    years = years[years[inside].isin(["yes", "no"])]
    error = [f"{realised}_low", f"{realised}_high"]
    blank = pd.Series(np.nan, index=years.index)
    return pd.DataFrame(
        {
            "as_of": years["as_of"],
            "predicted": years["predicted_cost" if measure == "cost" else band].astype(float),
            "low": years[f"{band}_low"].astype(float),
            "high": years[f"{band}_high"].astype(float),
            "realised": years[realised].astype(float),
            "realised_low": years.get(error[0], blank).astype(float),
            "realised_high": years.get(error[1], blank).astype(float),
            "inside": years[inside],
        }
    ).reset_index(drop=True)


def plot_rewind(
    rewound: Rewind, *, units: Units, measure: str = "cost", ax: Axes | None = None
) -> Axes:
    """Draw predicted against realised by past day, the 90 % bands beside each other.

    Parameters
    ----------
    rewound : Rewind
    units : Units
        Of the plant.
    measure : str
        cost or failures, see `rewind_table`.
    ax : Axes, optional
        Where to draw; a new figure when None.
    """
    table = rewind_table(rewound, measure)
    with style.drawing(ax) as axes:
        place = np.arange(len(table), dtype=float)
        _draw_bars(axes, place - 0.1, table, ("low", "predicted", "high"), style.NAVY)
        _draw_bars(
            axes, place + 0.1, table, ("realised_low", "realised", "realised_high"), style.ORANGE
        )
        axes.set_xticks(place, [f"{day:%Y-%m-%d}" for day in table["as_of"]])
        axes.set_xlim(-0.6, max(len(table), 1) - 0.4)
        axes.set_ylim(0.0, 1.15 * float(np.nanmax([1.0, *table.iloc[:, 1:7].to_numpy().ravel()])))
        axes.set_xlabel("As known on")
        axes.set_ylabel(
            f"Cost of the advice [{units.currency} a year]"
            if measure == "cost"
            else "Failures from that day on [count]"
        )
        style.write_thousands(axes.yaxis)
        style.list_names(
            axes, [("predicted then, 90 % band", style.NAVY), ("seen since", style.ORANGE)]
        )
        style.say(axes, _message(table, measure), _caption(measure))
    return axes


def _draw_bars(
    axes: Axes, place: np.ndarray, table: pd.DataFrame, names: tuple[str, str, str], color: str
) -> None:
    """A point with its band at each place; the point alone where there is no band."""
    low, middle, high = (table[name].to_numpy(float) for name in names)
    axes.vlines(place, low, high, color=color, lw=6.0, alpha=0.35)
    axes.plot(place, middle, "o", color=color, ms=7.0)


def _message(table: pd.DataFrame, measure: str) -> str:
    if table.empty:
        return "No past advice can be tested yet"
    inside = int(table["inside"].eq("yes").sum())
    what = "The cost of past advice" if measure == "cost" else "The failures seen since"
    return f"{what} lay inside the 90 % band in {inside} of {len(table)} past years"


def _caption(measure: str) -> str:
    if measure == "cost":
        return (
            "Groups whose later lives reach the advised age. Orange: Kaplan-Meier on later lives "
            "alone, with its own 90 % error."
        )
    return "All groups with advice, under what was really done with their pumps."


def challenge_table(found: Challenge) -> pd.DataFrame:
    """The two points that `plot_challenge` marks: way, interval, cost a year."""
    return found.to_frame()[["way", "interval", "cost_per_year"]]


def plot_challenge(
    curve: CostCurve, found: Challenge, *, units: Units, ax: Axes | None = None
) -> Axes:
    """Draw the cost curve of a group with the challenged interval marked beside the advice.

    Parameters
    ----------
    curve : CostCurve
        Of the challenged group.
    found : Challenge
    units : Units
        Of the plant.
    ax : Axes, optional
        Where to draw; a new figure when None.
    """
    axes = plot_cost_curve(curve, units=units, caption=found.say()[-1], ax=ax)
    with style.own_style():
        right = max(axes.get_xlim()[1], 1.05 * found.interval if np.isfinite(found.interval) else 0)
        axes.set_xlim(0, right)
        for interval, color, name in (
            (found.advised, style.NAVY, "advice"),
            (found.interval, style.WINE, "challenged"),
        ):
            shown = interval if np.isfinite(interval) else right
            height = float(np.interp(shown, curve.t, curve.mean))
            axes.plot([shown], [height], "o", color=color, ms=9.0, zorder=5, label=name)
            axes.annotate(
                name, (shown, height), xytext=(0, 10), textcoords="offset points",
                ha="right" if shown > 0.9 * right else "center", color=color,
            )  # fmt: skip
        sign = "more" if found.dearer >= 0.0 else "less"
        style.say(
            axes,
            f"{found.title}: the challenged interval costs {units.currency} "
            f"{abs(found.dearer):,.0f} a year {sign}",
            found.say()[-1],
        )
    return axes
