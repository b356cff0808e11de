"""The tables of materials from a plant's folder: ratio, cost, compatibility, what is said."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pumplife.materials.confirmed import is_known_code
from pumplife.materials.curves import survival_curves
from pumplife.materials.table import compare_materials
from pumplife.report.figures_materials import (
    plot_ratios,
    plot_survival,
    ratio_table,
    write_ratio,
)
from pumplife.report.style import read_title
from pumplife.report.words import find_heading, name_units
from tests.materials.conftest import compared, renamed


def row_of(found, part="diaphragm", material="TPV"):
    table = found.tables["materials"]
    mine = table[(table["part"] == part) & (table["material"] == material)]
    return mine[mine["service"] == "slip"].iloc[0]


def test_the_longer_lived_is_found_with_its_cost(study):
    row = row_of(study)
    assert row["reference"] == "CR"
    assert row["comparable"] == "yes"
    assert row["ratio_low"] < 2.0 < row["ratio_high"]
    assert row["ratio_low"] > 1.0
    assert row["ratio_low"] <= row["likelihood_low"] <= row["life_ratio"] <= row["ratio_high"]
    assert row["posterior_low"] > 1.0
    assert row["cost_per_1000"] < row["reference_cost_per_1000"]
    assert row["prob_cheaper"] > 0.9
    assert row["price_now"] == 120.0
    assert row["price_break_even"] > 120.0
    assert (row["main_mode"], row["main_mode_share"]) == ("cut", 1.0)
    assert row["released_share"] == 1.0
    assert row["compatibility_confirmed"] == "yes"
    assert "worth changing to" in row["note"]


def test_the_saving_counts_only_pumps_that_would_change(study):
    """Half of the pumps carry TPV already."""
    row = row_of(study)
    groups = [one for one in study.advice.groups if one.side == "fluid"]
    change = sum(one.usage_per_year.sum() for one in groups if one.kit == "FK")
    every = sum(one.usage_per_year.sum() for one in groups)
    assert 0.3 < change / every < 0.7
    cheaper = (row["reference_cost_per_1000"] - row["cost_per_1000"]) / 1000.0
    assert row["saving_per_year"] == pytest.approx(cheaper * change)


def test_cost_of_the_kit_in_use_is_that_of_its_interval(study):
    costs, intervals = study.tables["material_costs"], study.tables["intervals"]
    base = costs[costs["note"].str.startswith("the most used")].iloc[0]
    own = intervals[(intervals["kit"] == "FK") & (intervals["side"] == "fluid")].iloc[0]
    assert base["cost_per_1000"] == pytest.approx(own["cost_rate"], rel=0.03)  # a quarter of draws
    assert "diaphragm TPV, ball TPV, seat TPV" in costs["choice"].tolist()
    assert "diaphragm TPV, ball CR, seat CR" in costs["choice"].tolist()


def test_at_the_price_that_breaks_even_both_cost_the_same(study):
    row = row_of(study)
    parts = study.records.table("parts").copy()
    parts.loc[parts["part_no"] == "T-DIAPHRAGM", "unit_cost"] = row["price_break_even"]
    again = row_of(compared(study, parts=parts))
    assert again["price_now"] == row["price_break_even"]
    assert again["cost_per_1000"] == pytest.approx(again["reference_cost_per_1000"], rel=0.005)
    assert again["price_break_even"] == pytest.approx(row["price_break_even"], rel=0.01)


@pytest.mark.parametrize(
    ("changes", "state", "words"),
    [
        ({"material": "NBR"}, "no", "is not in the compatibility table"),
        ({"service": "glaze"}, "no", "is not in the compatibility table"),
        ({"valid_until": pd.Timestamp("2021-12-01")}, "expired", "has expired"),
        ({"confirmed_on": pd.Timestamp("2030-01-01")}, "no", "is not in the compatibility table"),
        ({"part": "ball"}, "no", "is not in the compatibility table"),
    ],
)
def test_unconfirmed_materials_are_compared_and_not_advised(study, changes, state, words):
    table = study.records.table("compatibility").assign(**changes)
    row = row_of(compared(study, compatibility=table))
    assert row["compatibility_confirmed"] == state
    assert np.isfinite(row["life_ratio"])
    assert words in row["note"]
    assert "says nothing on chemical compatibility" in row["note"]
    assert "worth changing" not in row["note"]


def test_a_part_that_is_named_confirms_that_part_alone(study):
    table = study.records.table("compatibility").assign(part="diaphragm")
    assert row_of(compared(study, compatibility=table))["compatibility_confirmed"] == "yes"


def test_a_material_without_failures_has_a_bound_and_no_point(study):
    row = row_of(study, part="ball")
    assert row["failures"] == 0
    assert np.isnan(row["life_ratio"])
    assert row["comparable"] == "too few"
    assert np.isnan(row["prob_cheaper"])


def test_one_material_only_is_said(study):
    mine = study.lives.table["material"] == "CR"
    services = study.lives.table["service"].where(mine, "glaze")
    lives = replace(study.lives, table=study.lives.table.assign(service=services))
    found = compare_materials(study.records, study.duty, lives, study.fits, None)
    row = row_of(found, material="CR")
    assert row["comparable"] == "confounded"
    assert "the only diaphragm material used in slip: nothing to compare with" in row["note"]
    assert "(others hold TPV)" in row["note"]
    assert np.isnan(row["life_ratio"])


def test_a_code_that_nobody_knows_is_said(study):
    odd = renamed(
        study, lambda table: table.assign(material=table["material"].replace("TPV", "X9"))
    )
    found = compare_materials(odd.records, odd.duty, odd.lives, odd.fits, odd.advice)
    audit = odd.records.log.frame()
    assert audit["rule"].tolist() == ["material_code"]
    assert "'X9'" in audit["what"].iloc[0]
    assert row_of(found, material="X9")["life_ratio"] == row_of(study)["life_ratio"]


def test_variants_are_compared_as_materials_are(study):
    def change(table):
        thick = table["material"].map({"TPV": "thick"}).fillna("")
        return table.assign(variant=thick, material=table["material"].replace("TPV", "CR"))

    odd = renamed(study, change)
    table = compare_materials(odd.records, odd.duty, odd.lives, odd.fits, odd.advice).table
    row = table[(table["variant"] == "thick") & (table["part"] == "diaphragm")].iloc[0]
    assert (row["material"], row["reference"]) == ("CR", "CR")
    for name in ("life_ratio", "ratio_low", "cost_per_1000", "price_break_even"):
        assert row[name] == row_of(study)[name]


def test_without_prices_lives_are_compared_all_the_same(study):
    found = compare_materials(study.records, study.duty, study.lives, study.fits, None)
    assert found.choices == []
    assert "material_costs" not in found.tables
    assert found.table["life_ratio"].notna().sum() == 1


@pytest.mark.parametrize(
    ("material", "known"),
    [("NBR", True), ("epdm", True), ("EPDM/PTFE", True), ("X9", False), ("NBR/X9", False)],
)
def test_codes(material, known):
    assert is_known_code(material) is known


def test_every_column_has_words(study):
    for name in ("materials", "material_exposure", "material_costs"):
        for column in study.tables[name].columns:
            assert find_heading(name, column).words


def test_figures_draw_what_their_tables_hold(study):
    materials = study.tables["materials"]
    drawn = ratio_table(materials, "slip")
    axes = plot_ratios(materials, "slip")
    assert "Slip" in read_title(axes)
    assert [text.get_text() for text in axes.texts] == [
        write_ratio(row) for row in drawn.to_dict("records")
    ]
    found = compare_materials(study.records, study.duty, study.lives, study.fits, None)
    curves = survival_curves(found.facts, "slip", "diaphragm")
    axes = plot_survival(curves, "Two materials", units=name_units("hours", "EUR"))
    lines = [line for line in axes.get_lines() if len(line.get_xdata()) > 2]
    assert len(lines) == 2
    assert "parts at risk" in axes.get_xlabel()


def test_a_ratio_that_has_run_away_is_not_written_out():
    row = {"life_ratio": 2854260.1, "ratio_low": 0.001, "ratio_high": 5.4e12}
    assert write_ratio(row) == "over 100 (0.00 to over 100)"
    assert write_ratio(row | {"life_ratio": 1.5, "ratio_high": 100.0}) == "1.50 (0.00 to 100.00)"
