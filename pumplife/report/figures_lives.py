"""Figures of the lives of parts: probability plot, life curves, materials side by side."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import LogLocator, NullFormatter
from numpy.typing import NDArray

from pumplife.report import style
from pumplife.report.pictures import LifeCurve, WeibullPicture, name_group
from pumplife.report.tables import write_count, write_number
from pumplife.report.words import Units

Floats = NDArray[np.float64]

SHARES = np.array([0.001, 0.01, 0.05, 0.1, 0.2, 0.5, 0.8, 0.95, 0.999])


def stretch_share(share: Floats) -> Floats:
    """Map a share failed onto the axis on which a Weibull life is a straight line.

    Parameters
    ----------
    share : array
        Share failed [0 to 1].

    Returns
    -------
    array
        ln(−ln(1 − share)); infinite at 0 and 1.
    """
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(-np.log1p(-np.asarray(share, dtype=float))), dtype=float)


def weibull_table(picture: WeibullPicture) -> pd.DataFrame:
    """Give the points, suspensions and fitted line of a probability plot.

    Parameters
    ----------
    picture : WeibullPicture
        Of one fit group.

    Returns
    -------
    DataFrame
        drawn (point, between, suspended, fit), age, age_to [usage units], share_failed, low,
        high [0 to 1].
    """
    curve = picture.curve
    parts = [
        {"drawn": "point", "age": picture.age, "share_failed": picture.share_failed},
        {
            "drawn": "between",
            "age": picture.between_low,
            "age_to": picture.between_high,
            "share_failed": picture.between_share,
        },
        {"drawn": "suspended", "age": picture.suspended},
        {
            "drawn": "fit",
            "age": curve.t,
            "share_failed": 1 - curve.middle,
            "low": 1 - curve.high,
            "high": 1 - curve.low,
        },
    ]
    columns = ["drawn", "age", "age_to", "share_failed", "low", "high"]
    frames = [pd.DataFrame(part).reindex(columns=columns) for part in parts if len(part["age"])]
    return pd.concat(
        [frame.astype(dict.fromkeys(columns[1:], float)) for frame in frames], ignore_index=True
    )


def plot_weibull(
    picture: WeibullPicture, *, units: Units, caption: str = "", ax: Axes | None = None
) -> Axes:
    """Draw the Weibull probability plot of one fit group.

    Parameters
    ----------
    picture : WeibullPicture
        From `picture_fit`.
    units : Units
        Of the plant.
    caption : str
        Window and endpoint; counts are written anyway.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    curve = picture.curve
    with style.drawing(ax) as axes:
        axes.set_xscale("log")
        low, high = (stretch_share(1 - edge) for edge in (curve.high, curve.low))
        bottom, top = _share_limits(picture)
        axes.fill_between(
            curve.t,
            np.clip(low, bottom, top),
            np.clip(high, bottom, top),
            color=style.SKY,
            alpha=0.3,
            lw=0,
        )
        axes.plot(curve.t, stretch_share(1 - curve.middle), color=style.NAVY)
        _draw_points(axes, picture)
        axes.plot(
            picture.suspended,
            np.full(picture.suspended.size, 0.022),
            "|",
            ms=8,
            color=style.SOFT,
            mew=0.8,
            transform=axes.get_xaxis_transform(),
        )
        axes.set_ylim(bottom, top)
        axes.set_xlim(curve.t[0], curve.t[-1] * 1.05)
        axes.set_yticks(stretch_share(SHARES), [f"{100 * share:g} %" for share in SHARES])
        axes.set_ylim(bottom, top)
        _write_log_ages(axes)
        axes.set_xlabel(f"Age [{units.usage}]")
        axes.set_ylabel("Parts failed [%]")
        style.say(axes, _weibull_message(picture, units), _count_caption(picture, caption))
    return axes


def _draw_points(axes: Axes, picture: WeibullPicture) -> None:
    inside = (picture.share_failed > 0) & (picture.share_failed < 1)
    axes.plot(
        picture.age[inside],
        stretch_share(picture.share_failed[inside]),
        "o",
        ms=4.5,
        color=style.ORANGE,
        mec=style.PAPER,
        mew=0.5,
    )
    if picture.between_low.size:
        axes.hlines(
            stretch_share(np.clip(picture.between_share, 1e-6, 1 - 1e-6)),
            np.maximum(picture.between_low, picture.curve.t[0]),
            picture.between_high,
            color=style.ORANGE,
            lw=0.8,
            alpha=0.7,
        )


def _share_limits(picture: WeibullPicture) -> tuple[float, float]:
    seen = picture.share_failed[(picture.share_failed > 0) & (picture.share_failed < 1)]
    lowest = min([0.05, *seen.tolist()]) * 0.6
    highest = max([0.9, *seen.tolist()])
    low, high = stretch_share(np.array([lowest, min(highest, 0.999)]))
    return float(low), float(high) + 0.15


def _write_log_ages(axes: Axes) -> None:
    low, high = axes.get_xlim()
    close = high / low < 8
    axes.xaxis.set_major_locator(
        LogLocator(subs=(1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0) if close else (1.0, 2.0, 5.0))
    )
    axes.xaxis.set_minor_formatter(NullFormatter())
    style.write_thousands(axes.xaxis)


def _weibull_message(picture: WeibullPicture, units: Units) -> str:
    half = float(np.interp(-0.5, -picture.curve.middle, picture.curve.t))
    if picture.curve.middle[-1] > 0.5:
        return f"{picture.title}: fewer than half fail within the ages seen"
    return f"{picture.title}: half fail by {write_number(half)} {units.usage}"


def _count_caption(picture: WeibullPicture, caption: str) -> str:
    bars = "; bars where only known to lie between two ages" if picture.between_low.size else ""
    counts = (
        f"{write_count(picture.failures)} failures (dots{bars}), "
        f"{write_count(picture.suspensions)} suspensions (ticks), 90 % band."
    )
    return f"{counts} {caption}".strip()


def life_curves_table(curves: Sequence[LifeCurve]) -> pd.DataFrame:
    """Give the points of the life curves.

    Parameters
    ----------
    curves : sequence of LifeCurve
        One per line.

    Returns
    -------
    DataFrame
        label, age [usage units], alive, low, high [0 to 1].
    """
    columns = ["label", "age", "alive", "low", "high"]
    parts = [
        pd.DataFrame(
            {
                "label": curve.label,
                "age": curve.t,
                "alive": curve.middle,
                "low": curve.low,
                "high": curve.high,
            }
        )
        for curve in curves
    ]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


def plot_life_curves(
    curves: Sequence[LifeCurve],
    *,
    units: Units,
    title: str,
    caption: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Draw the share of parts alive against age, a line and a band per group.

    Parameters
    ----------
    curves : sequence of LifeCurve
        At most six.
    units : Units
        Of the plant.
    title : str
        The message, a sentence.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    with style.drawing(ax) as axes:
        right = max((float(curve.t[-1]) for curve in curves), default=1.0)
        places = []
        for number, curve in enumerate(curves):
            colour = style.SERIES[number % len(style.SERIES)]
            axes.fill_between(curve.t, curve.low, curve.high, color=colour, alpha=0.16, lw=0)
            axes.plot(curve.t, curve.middle, color=colour, ls=style.DASHES[number % 6])
            places.append((float(curve.middle[-1]), curve.label, colour))
        axes.set_xlim(0, right)
        axes.set_ylim(0, 1)
        style.write_percents(axes.yaxis)
        style.write_thousands(axes.xaxis)
        axes.set_xlabel(f"Age [{units.usage}]")
        axes.set_ylabel("Parts still alive [%]")
        style.label_ends(axes, places)
        style.say(axes, title, caption)
    return axes


def forest_table(fits: pd.DataFrame, part: str) -> pd.DataFrame:
    """Pick the fits of one part, ordered by service and life.

    Parameters
    ----------
    fits : DataFrame
        The output table.
    part : str
        "diaphragm".

    Returns
    -------
    DataFrame
        service, material, label, scale, scale_low, scale_high [usage units], failures.
    """
    rows = fits[(fits["part"] == part) & (fits["endpoint"] != "worn or failed")]
    rows = rows[np.isfinite(rows["scale"].astype(float))]
    rows = rows.sort_values(["service", "scale", "material"], ascending=[True, False, True])
    labels = [name_group(row, leave_out=("part",)) for row in rows.to_dict("records")]
    columns = ["service", "material", "scale", "scale_low", "scale_high", "failures"]
    return rows[columns].assign(label=labels).reset_index(drop=True)


def plot_forest(
    fits: pd.DataFrame, part: str, *, units: Units, caption: str = "", ax: Axes | None = None
) -> Axes:
    """Draw the life of one part, material by material within each service.

    Parameters
    ----------
    fits : DataFrame
        The output table.
    part : str
        Which part.
    units : Units
        Of the plant.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = forest_table(fits, part)
    with style.drawing(ax, height=1.7 + 0.27 * len(drawn)) as axes:
        axes.set_xscale("log")
        place = _rows_with_gaps(drawn["service"].tolist())
        middle = drawn["scale"].to_numpy(dtype=float)
        low, high = _finite_bars(drawn, middle)
        axes.set_xlim(*_life_limits(low, middle, high))
        axes.hlines(place, low, high, color=style.SKY, lw=3)
        few = drawn["failures"].to_numpy(dtype=float) < 5
        axes.plot(middle[~few], place[~few], "o", color=style.NAVY, ms=6)
        axes.plot(middle[few], place[few], "o", color=style.PAPER, mec=style.NAVY, ms=6)
        names = [
            f"{label} ({write_count(count)})"
            for label, count in zip(drawn["label"], drawn["failures"], strict=True)
        ]
        axes.set_yticks(place, names)
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=True, axis="x")
        axes.grid(visible=False, axis="y")
        _write_log_ages(axes)
        axes.set_xlabel(f"Life that 63 % of the parts don't exceed (scale) [{units.usage}]")
        style.say(axes, _forest_message(drawn, part), _forest_caption(caption))
    return axes


def _rows_with_gaps(services: Sequence[str]) -> Floats:
    steps = [
        1.0 if number and service == services[number - 1] else 1.6
        for number, service in enumerate(services)
    ]
    return -np.cumsum(np.asarray(steps, dtype=float))


def _finite_bars(drawn: pd.DataFrame, middle: Floats) -> tuple[Floats, Floats]:
    """Let a bar without an end run off the axes."""
    low, high = (drawn[name].to_numpy(dtype=float) for name in ("scale_low", "scale_high"))
    low = np.where(np.isfinite(low) & (low > 0), low, middle / 1000)
    high = np.where(np.isfinite(high), high, middle * 1000)
    return low, high


def _life_limits(low: Floats, middle: Floats, high: Floats) -> tuple[float, float]:
    if middle.size == 0:
        return 1.0, 10.0
    first, last = np.maximum(low, middle / 8), np.minimum(high, middle * 8)
    return 0.85 * float(first.min()), 1.15 * float(last.max())


def _forest_message(drawn: pd.DataFrame, part: str) -> str:
    if drawn.empty:
        return f"No life of a {part} could be estimated"
    longest = drawn.loc[drawn["scale"].idxmax()]
    shortest = drawn.loc[drawn["scale"].idxmin()]
    ratio = float(longest["scale"]) / float(shortest["scale"])
    if len(drawn) == 1:
        return f"One group of {part} lives could be estimated"
    return (
        f"{part.replace('_', ' ').capitalize()} lives differ {ratio:.1f} times between the longest "
        f"({longest['label']}) and the shortest ({shortest['label']})"
    )


def _forest_caption(caption: str) -> str:
    words = (
        "Number of failures in brackets; hollow where under 5. Bars: 90 %. "
        "Compare materials within one service only."
    )
    return f"{words} {caption}".strip()
