"""Notebooks run to the end on a plant without prices, and say what is lacking."""

import ast
import io
import json
import re
from contextlib import redirect_stdout
from dataclasses import replace
from pathlib import Path

import matplotlib.pyplot as plt
import nbformat
import pandas as pd
import pytest

import pumplife
from pumplife.report import evidence, in_view, opening
from tests.plants import SETTINGS, small_plant, small_tables

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
LACKING = "there are no [costs] in plant.toml and no kit has a price"
REMEDY = "fill in [costs] and kits.unit_cost."


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """A study of the small plant without [costs] and without prices."""
    settings = re.sub(r"\[costs\].*?\n\n", "", SETTINGS, flags=re.DOTALL)
    unpriced = {
        name: pd.DataFrame(small_tables()[name]).drop(columns="unit_cost")
        for name in ("kits", "parts")
    }
    folder = small_plant(tmp_path_factory.mktemp("plant"), plant_toml=settings, **unpriced)
    return pumplife.run_study(folder, seed=1)


def run_cells(name):
    """What each code cell of a notebook gives by its id: what it prints, and its last value."""
    space, shown = {}, {}
    for cell in nbformat.read(NOTEBOOKS / f"{name}.ipynb", as_version=4).cells:
        if cell.cell_type != "code":
            continue
        body = ast.parse(cell.source).body
        last = ast.Expression(body.pop().value) if isinstance(body[-1], ast.Expr) else None
        with redirect_stdout(io.StringIO()) as printed:
            exec(compile(ast.Module(body, []), cell.id, "exec"), space)
            value = None if last is None else eval(compile(last, cell.id, "eval"), space)
        shown[cell.id] = (printed.getvalue(), value)
    plt.close("all")
    return shown


@pytest.fixture
def shown(study, monkeypatch, request):
    plt.switch_backend("agg")
    monkeypatch.setattr(pumplife, "run_study", lambda *given, **named: study)
    with pd.option_context("display.max_colwidth", None, "display.max_rows", 200):
        return run_cells(request.param)


@pytest.mark.parametrize("shown", ["intervals"], indirect=True)
def test_intervals_says_what_is_lacking_and_shows_the_lives_there_are(shown):
    for cell in ("04", "08", "23"):
        assert LACKING in shown[f"intervals-{cell}"][0]
        assert shown[f"intervals-{cell}"][0].strip().endswith(REMEDY)
    for cell in ("05", "07", "13", "15", "16", "18", "20", "21", "25"):
        assert LACKING in shown[f"intervals-{cell}"][1]
    lives = shown["intervals-10"][1]
    assert sorted(lives["Part"]) == ["ball", "diaphragm", "seat"]
    assert "half fail by" in repr(shown["intervals-11"][1])
    key = json.loads(shown["intervals-29"][0])
    assert key["groups"] == key["due"] == 0
    assert key["interval"] is None


@pytest.mark.parametrize("shown", ["records"], indirect=True)
def test_records_answers_without_prices_and_says_what_no_money_can_be_put_on(shown):
    assert shown["records-04"][0].startswith("0\u202f% of 5 ticket rows had to be set aside")
    assert "P-" in repr(shown["records-11"][1])
    for cell in ("13", "14", "16"):
        assert LACKING in shown[f"records-{cell}"][1]
    key = json.loads(shown["records-20"][0])
    assert (key["tickets"], key["set_aside"], key["otherwise"]) == (5, 0, [])


@pytest.mark.parametrize("shown", ["spares_and_budget", "elastomers"], indirect=True)
def test_the_other_notebooks_run_to_their_key_numbers(shown):
    *_, (printed, _) = shown.values()
    assert isinstance(json.loads(printed), dict)
    said = [value for _, value in shown.values() if isinstance(value, str)]
    assert any(LACKING in words for words in said)


def test_a_level_that_lacks_a_lead_time_says_what_to_write(study):
    what, remedy = "kit FK has no lead time.", "Write lead_time_days."
    row = {"severity": "caution", "rule": "no_lead_time", "what": what, "remedy": remedy}
    other = with_tables(study, audit=pd.DataFrame([row | {"consequence": ""}]))
    assert in_view.say_no_level(other) == "Kit FK has no lead time; write lead_time_days."
    stock = pd.DataFrame([{"item": "FK", "verdict": "no level: it has no price"}])
    other = with_tables(study, audit=pd.DataFrame(), stock=stock)
    assert in_view.say_no_level(other) == "FK: no level: it has no price."
    assert in_view.say_no_level(with_tables(study, audit=pd.DataFrame())) == in_view.NOTHING


def test_the_first_groups_lack_is_told_where_every_group_lacks_something(study):
    intervals = pd.DataFrame({"policy": [None, ""], "verdict": ["Kit FK has no price.", "No."]})
    other = with_tables(study, audit=pd.DataFrame(), intervals=intervals)
    assert in_view.say_lacking(other, "budget") == "Kit FK has no price."
    advised = intervals.assign(policy=["", "planned kit"])
    other = with_tables(study, audit=pd.DataFrame(), intervals=advised)
    assert in_view.say_lacking(other, "budget") == ""


def test_the_weakest_life_is_that_of_the_smallest_known_scale():
    fits = pd.DataFrame({"scale": [float("nan"), 9.0, 4.0]}, index=[3, 5, 8])
    assert evidence.find_weakest(fits) == 8
    assert evidence.find_weakest(fits.head(1)) is None
    assert evidence.find_weakest(pd.DataFrame()) is None


def test_advice_that_costs_more_than_today_is_not_called_a_saving(study):
    row = {
        "service": "slip", "size_mm": 50.0, "side": "fluid", "hazard": "none", "kit": "FK",
        "policy": "keep today's", "interval": 3000.0, "interval_weeks": 43.0,
        "saving_per_year": -260.0,
    }  # fmt: skip
    words = opening.answer_intervals(with_tables(study, intervals=pd.DataFrame([row])))
    assert words.startswith("0 of 1 pump group are better rebuilt")
    assert ", 1 kept as today; working as advised costs 260 EUR a year more than today's" in words


def with_tables(study, **tables):
    """The study with other tables."""
    return replace(study, tables={**study.tables, **tables})
