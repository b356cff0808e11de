"""Figures say one thing, carry units, and draw what their tables hold."""

from types import SimpleNamespace

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pumplife.lives.trend import mean_cumulative_function
from pumplife.report import style
from pumplife.report.figures import cost_curve_table, due_table, plot_cost_curve, plot_due
from pumplife.report.figures_lives import (
    forest_table,
    life_curves_table,
    plot_forest,
    plot_life_curves,
    plot_weibull,
    stretch_share,
    weibull_table,
)
from pumplife.report.figures_records import (
    mean_cumulative_table,
    plot_mean_cumulative,
    plot_record_funnel,
)
from pumplife.report.figures_stock import (
    budget_table,
    plot_budget,
    plot_stock_risk,
    stock_risk_table,
)
from pumplife.report.gather import gather_figures
from pumplife.report.pictures import draw_life, picture_fit
from pumplife.report.svg import embed_svg, write_svg
from pumplife.report.words import name_units

UNITS = name_units("hours", "EUR")


def title(axes: Axes) -> str:
    return style.read_title(axes)


def test_every_figure_has_a_sentence_axes_and_data(study: SimpleNamespace) -> None:
    before = dict(mpl.rcParams)
    figures = gather_figures(study)
    assert dict(mpl.rcParams) == before
    names = [figure.name for figure in figures]
    assert len(set(names)) == len(names) == 11
    for figure in figures:
        assert len(figure.alt.split()) >= 4
        assert figure.axes.get_xlabel() or figure.section == "budget"
        assert figure.axes.get_ylabel() or "lives-" in figure.name or figure.name == "records"
        assert len(figure.data)


def test_the_advised_interval_is_where_it_is_marked(study: SimpleNamespace) -> None:
    curve = study.advice.curves[0]
    axes = plot_cost_curve(curve, units=UNITS)
    assert title(axes) == (
        "Glaze slip, 50 mm, fluid side: rebuild every 3,180 h; "
        "from 2,300 to 4,700 h costs within 5 % of the best"
    )
    mark = next(line for line in axes.lines if line.get_marker() == "o")
    assert mark.get_xdata() == [3180.0]
    assert mark.get_ydata() == [pytest.approx(np.interp(3180.0, curve.t, curve.mean))]
    assert axes.get_xlabel() == "Rebuild interval [h]"
    assert axes.get_ylabel() == "Cost rate [EUR per 1,000 h]"
    np.testing.assert_array_equal(cost_curve_table(curve)["mean"], curve.mean)


def test_a_limit_that_holds_the_interval_is_named(study: SimpleNamespace) -> None:
    curve = study.advice.curves[0]
    curve.near_best_high = curve.interval
    axes = plot_cost_curve(curve, units=UNITS)
    assert title(axes).endswith("rebuild every 3,180 h, where a limit holds it")
    assert "limit" in [text.get_text() for text in axes.texts]


def test_run_to_failure_is_said_plainly(study: SimpleNamespace) -> None:
    axes = plot_cost_curve(study.advice.curves[1], units=UNITS)
    assert "run to failure; no planned interval costs clearly less" in title(axes)
    assert not [line for line in axes.lines if line.get_marker() == "o"]


def test_due_counts_by_hand() -> None:
    today = pd.Timestamp("2025-06-30")
    due = pd.DataFrame(
        {
            "do_on": [today, today + pd.Timedelta(days=27), today + pd.Timedelta(days=28),
                      today, pd.NaT, today + pd.Timedelta(days=4000)],
            "overdue_by": [40.0, 0.0, np.nan, 0.0, np.nan, 0.0],
            "side": ["fluid", "fluid", "air", "air", "air", "fluid"],
        }
    )  # fmt: skip
    table = due_table(due, today)
    assert table["when"].tolist()[:3] == ["overdue", "2025-06-30", "2025-07-28"]
    assert table["fluid"].tolist()[:3] == [1, 1, 0]
    assert table["air"].tolist()[:3] == [0, 1, 1]
    assert int(table[["fluid", "air"]].to_numpy().sum()) == 4
    words = "1 rebuild is overdue, 3 more to do in the next 13 weeks"
    axes = plot_due(due, today)
    assert title(axes) == words
    calm = due.assign(overdue_by=0.0)
    assert due_table(calm, today)["when"].tolist()[0] == "2025-06-30"
    later = plot_due(calm, today)
    assert title(later) == "4 rebuilds to do in the next 13 weeks, none overdue"
    assert len(later.patches) == len(axes.patches) - 3  # two bars and the shade of what is late
    last = calm.iloc[[2]].assign(do_on=today + pd.Timedelta(weeks=13))
    assert title(plot_due(last, today)).startswith("1 rebuild to do in the next 13 weeks")


def test_budget_bars_end_at_the_percentiles(study: SimpleNamespace) -> None:
    budget = study.tables["budget"]
    axes = plot_budget(budget, units=UNITS)
    assert title(axes) == "Next year at P50: 122,000 EUR as advised, 152,000 EUR as today"
    tops = {round(bar.get_y() + bar.get_height()) for bar in axes.patches}
    drawn = budget_table(budget)
    assert tops == {round(value) for name in ("p50", "p80", "p90") for value in drawn[name]}
    assert set(drawn["scenario"]) == {"today", "advised", "run_to_failure"}


def test_stock_marks_the_chosen_level(study: SimpleNamespace) -> None:
    table = stock_risk_table(study.stock.curves)
    chosen = table[table["chosen"]]
    assert chosen["level"].tolist() == [4.0, 2.0]
    axes = plot_stock_risk(study.stock.curves)
    words = [text.get_text() for text in axes.texts if text.get_text() != "■"]
    assert words[0].startswith("KF-50-NBR at north: reorder at 4, chance 5.3")
    assert "highest for KF-50-NBR at north" in title(axes)


def test_a_weibull_life_is_a_straight_line(study: SimpleNamespace) -> None:
    age = np.geomspace(100, 9000, 30)
    failed = -np.expm1(-((age / 6500) ** 2.5))
    slope = np.diff(stretch_share(failed)) / np.diff(np.log(age))
    np.testing.assert_allclose(slope, 2.5, rtol=1e-8)
    row = study.tables["fits"].to_dict("records")[0]
    picture = picture_fit(study.fits.taken, 0, row, study.fits.draws[0])
    axes = plot_weibull(picture, units=UNITS)
    assert title(axes).startswith("Glaze slip, diaphragm, NBR: half fail by")
    table = weibull_table(picture)
    assert set(table["drawn"]) == {"point", "suspended", "fit"}
    band = table[table["drawn"] == "fit"]
    assert np.all((band["low"] <= band["share_failed"]) & (band["share_failed"] <= band["high"]))


def test_forest_orders_within_services_and_leaves_worn_out(study: SimpleNamespace) -> None:
    fits = study.tables["fits"]
    worn = fits.iloc[[0]].assign(endpoint="worn or failed", scale=1.0)
    table = forest_table(pd.concat([fits, worn]), "diaphragm")
    assert table["label"].tolist() == [
        "Caustic, EPDM", "Filter sludge, CR", "Glaze slip, TPV", "Glaze slip, NBR"
    ]  # fmt: skip
    axes = plot_forest(fits, "diaphragm", units=UNITS)
    assert "differ 3.6 times" in title(axes)
    assert title(plot_forest(fits, "spool", units=UNITS)) == "No life of a spool could be estimated"


def test_forests_name_what_they_leave_out(study: SimpleNamespace) -> None:
    fits = study.tables["fits"]
    unknown = fits.iloc[[2]].assign(material="EPDM", scale=np.nan, failures=0.0)
    alone = fits.iloc[[0]].assign(part="ball")
    never = fits.iloc[[0]].assign(part="seat", scale=np.nan, failures=0.0)
    study.tables["fits"] = pd.concat([fits, unknown, alone, never], ignore_index=True)
    study.fits.draws = study.fits.draws[[0, 1, 2, 3, 2, 0, 0]]
    forests = [one for one in gather_figures(study) if one.name.startswith("lives-")]
    assert [one.name for one in forests] == ["lives-diaphragm"]  # one dot compares nothing
    caption = " ".join(forests[0].axes.figure.get_supxlabel().split())
    assert "Left out for lack of failures: Filter sludge, EPDM." in caption
    assert "Parts with few failures or one group are in the table: ball, seat." in caption


def test_life_curves_start_whole(study: SimpleNamespace) -> None:
    age = np.linspace(0, 9000, 20)
    curves = [draw_life(name, study.fits.draws[n], age) for n, name in enumerate(("a", "b"))]
    table = life_curves_table(curves)
    assert table.loc[table["age"] == 0, "alive"].tolist() == [1.0, 1.0]
    axes = plot_life_curves(curves, units=UNITS, title="Two lives.")
    assert [text.get_text() for text in axes.texts] == ["■", "a", "■", "b"]


def test_long_cumulative_lines_are_thinned_and_end_where_they_did() -> None:
    rng = np.random.default_rng(2)
    one = mean_cumulative_function(
        rng.integers(0, 50, 2000), rng.uniform(0, 5, 2000), np.full(50, 5.0)
    )
    table = mean_cumulative_table({"slip": one})
    assert len(table) == 300
    assert table["mcf"].iloc[-1] == one.mcf[-1]
    axes = plot_mean_cumulative({"slip": one})
    assert title(axes) == "Slip: 40 breakdowns per pump in 5.0 years"
    np.testing.assert_array_equal(axes.lines[0].get_xdata()[1:-1], table["time"])


def test_nothing_to_draw_still_says_so() -> None:
    assert title(plot_mean_cumulative({})) == "No breakdown is on record"
    assert title(plot_record_funnel(pd.DataFrame())) == "No record was received"


def test_the_funnel_says_what_was_set_aside(study: SimpleNamespace) -> None:
    axes = plot_record_funnel(study.tables["account"])
    assert title(axes) == "Of 127 ticket rows, 5.5 % had to be set aside"
    widths = np.array([bar.get_width() for bar in axes.patches]).reshape(3, 3)
    np.testing.assert_allclose(widths[0], [109 / 127, 38 / 40, 250 / 300])
    np.testing.assert_allclose(widths.sum(axis=0), 1.0)


def test_axes_of_the_caller_are_used(study: SimpleNamespace) -> None:
    axes = Figure().add_subplot()
    assert plot_cost_curve(study.advice.curves[0], units=UNITS, ax=axes) is axes
    assert "rebuild every" in axes.get_title("left")
    assert title(axes).startswith("Glaze slip")


def test_svg_is_the_same_every_time_and_safe_in_a_page(study: SimpleNamespace) -> None:
    curve = study.advice.curves[0]
    curve.title = "Slip <b>& glaze"
    first, second = (write_svg(plot_cost_curve(curve, units=UNITS)) for _ in range(2))
    assert first == second
    inside = embed_svg(first, "cost-1", 'a "quoted" <alt>')
    assert inside.startswith('<svg role="img" aria-label="a &quot;quoted&quot; &lt;alt&gt;"')
    assert "Slip &lt;b&gt;&amp; glaze" in inside
    assert "var(--navy)" in inside
    assert style.NAVY not in inside
    assert "<metadata" not in inside
