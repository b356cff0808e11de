"""The whole route on one small plant: what changes the answer, what must not, what is missing."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xlsxwriter

from pumplife.study import Study, run_study

from .demo.conftest import DEMO
from .plants import LAST_DAY, SETTINGS, pump_rows, reading_rows, small_plant

assert DEMO.is_dir()  # the import has put the generator on the path

from make_plant import make_plant  # noqa: E402

SERVICE = "press sludge"
KIT = "FK-50-CR"
ANSWERS = {
    "lives", "fits", "duty_effects", "intervals", "policies", "due", "stock", "orders", "budget",
    "pumps", "likeness", "sensitivity", "questions", "tornado", "costs", "load", "outage",
    "few_intervals", "materials", "material_exposure", "material_costs", "budget_services",
    "budget_pumps", "bridge", "cash", "booked", "trials", "trial_looks", "shelf", "demand_check",
    "coverage", "on_condition", "kit_or_parts", "kpi", "pooling", "rotables", "stock_frontier",
    "stock_levels", "trial_plans", "trial_power", "transfers",
}  # fmt: skip
Tables = dict[str, pd.DataFrame]
Write = Callable[..., Path]


def cut_section(settings: str, head: str) -> str:
    """Settings without the sections whose name begins so."""
    pieces = settings.split("\n[")
    kept = "\n[".join(piece for piece in pieces if not piece.startswith(head))
    assert tomllib.loads(kept) != tomllib.loads(settings)
    return kept


@pytest.fixture(scope="module")
def plant() -> tuple[Tables, str]:
    """The sludge pumps of an invented plant with clean records, every optional table among them.

    One pump moves glaze for most of a year; no kit of the kind adopted below is on the shelf or
    on its way, plenty of another; there are no outages to wait for.
    """
    made = make_plant(22, faults=False)
    pumps = made.tables["pumps"]
    chosen = set(pumps.loc[pumps["service"] == SERVICE, "pump_id"])
    tables = {
        name: table[table["pump_id"].isin(chosen)] if "pump_id" in table else table
        for name, table in made.tables.items()
    }
    tables["rebuilds"] = tables["rebuilds"].round({"downtime_h": 9})  # a workbook holds 16 digits
    lent = pd.DataFrame({"moved_on": ["2023-02-01", "2023-12-01"], "service": ["glaze", SERVICE]})
    tables["moves"] = lent.assign(pump_id=min(chosen))
    tables["plan"] = tables["plan"].assign(service=SERVICE, use_factor=1.5)
    tables["trials"] = tables["trials"].assign(service=SERVICE, started_on="2019-07-01")
    arms = tables["pumps"].assign(trial_id="TR-1", arm=lambda one: one["fluid_kit"].str[6:])
    tables["trial_pumps"] = arms[["trial_id", "pump_id", "arm"]]
    tables["on_hand"] = tables["on_hand"][tables["on_hand"]["item"] != KIT]
    coming = {"store": "main store", "item": "FK-80-CR", "quantity": 9}
    tables["on_order"] = pd.DataFrame([coming | {"expected_on": "2025-07-20"}])
    tables["adopted"] = pd.DataFrame(columns=["service", "side", "interval"])
    return tables, cut_section(made.plant_toml, "calendar")


@pytest.fixture(scope="module")
def write(plant: tuple[Tables, str], tmp_path_factory: pytest.TempPathFactory) -> Write:
    """Give a function that writes the plant; a table given as None is left out."""

    def write_folder(settings: str | None = None, **changed: pd.DataFrame | None) -> Path:
        folder = tmp_path_factory.mktemp("plant")
        text = plant[1] if settings is None else settings
        (folder / "plant.toml").write_text(text, encoding="utf-8")
        for name, table in (plant[0] | changed).items():
            if table is not None and len(table):
                table.to_csv(folder / f"{name}.csv", index=False)
        return folder

    return write_folder


@pytest.fixture(scope="module")
def whole(write: Write) -> Study:
    """The study with every table there."""
    return run_study(write())


def same(one: pd.DataFrame, two: pd.DataFrame) -> bool:
    return one.equals(two) and list(one.columns) == list(two.columns)


def rules(study: Study, severity: str) -> set[str]:
    audit = study.tables["audit"]
    return set(audit.loc[audit["severity"] == severity, "rule"])


# ---- what must not change the answer -------------------------------------------------------------


def test_same_folder_and_seed_same_tables(write: Write, whole: Study) -> None:
    again = run_study(write())
    assert set(whole.tables) == {"account", "audit", "costs", *ANSWERS} == set(again.tables)
    for name, table in whole.tables.items():
        pd.testing.assert_frame_equal(table, again.tables[name], check_exact=True)


def test_another_seed_moves_only_what_is_drawn(write: Write, whole: Study) -> None:
    other = run_study(write(), seed=2, results=())
    assert same(other.tables["lives"], whole.tables["lives"])
    one, two = whole.tables["fits"], other.tables["fits"]
    assert same(one[["failures", "likely_shape"]], two[["failures", "likely_shape"]])
    first, second = (t.tables["intervals"] for t in (whole, other))
    assert not same(first, second)
    np.testing.assert_allclose(first["interval"], second["interval"], rtol=0.15)


SUPPLIED = {
    "stock", "orders", "shelf", "coverage", "on_condition", "kit_or_parts", "pooling",
    "rotables", "spare_pumps", "stock_frontier", "stock_levels", "demand_check", "transfers",
}  # fmt: skip
PAID = {"budget", "budget_services", "budget_pumps", "bridge", "cash", "booked"}
COMPARED = {
    "materials", "material_costs", "material_exposure", "trials", "trial_looks", "trial_plans",
    "trial_power",
}  # fmt: skip


@pytest.mark.parametrize(
    ("results", "missing"),
    [
        ((), {*SUPPLIED, *PAID, "sensitivity", *COMPARED}),
        (["stock"], {*PAID, "sensitivity", *COMPARED}),
        (["budget"], {"sensitivity", *COMPARED}),
        (["sensitivity", "materials"], {*SUPPLIED, *PAID}),
    ],
)
def test_a_part_of_a_study_is_that_of_the_whole(
    write: Write, whole: Study, results: list[str], missing: set[str]
) -> None:
    study = run_study(write(), results=results)
    assert set(whole.tables) - set(study.tables) == missing & set(whole.tables)
    assert (study.stock is None) == ("stock" in missing)
    assert (study.budget is None) == ("budget" in missing)
    for name in set(study.tables) - {"audit"}:
        pd.testing.assert_frame_equal(study.tables[name], whole.tables[name], check_exact=True)
    said, all_said = (
        set(t.tables["audit"].astype(str).agg("|".join, axis=1)) for t in (study, whole)
    )
    assert said <= all_said


def test_results_that_cant_be_had_are_named(write: Write) -> None:
    with pytest.raises(ValueError, match=r"no result 'stocks'; it has stock, budget, "):
        run_study(write(), results=["stocks"])
    with pytest.raises(ValueError, match="compared with a whole one"):
        run_study(write(), results=["stock"], since="out")


def write_workbook(folder: Path, tables: Tables, settings: str) -> Path:
    """One sheet a table, as a person would keep it: dates as dates, numbers as numbers."""
    (folder / "plant.toml").write_text(settings, encoding="utf-8")
    book = xlsxwriter.Workbook(str(folder / "records.xlsx"))
    date = book.add_format({"num_format": "yyyy-mm-dd"})
    for name, table in tables.items():
        sheet = book.add_worksheet(name)
        sheet.write_row(0, 0, list(table.columns))
        for at, column in enumerate(table.columns):
            for row, cell in enumerate(table[column], start=1):
                if pd.isna(cell) or cell == "":
                    continue
                if isinstance(cell, str) and column.endswith("_on"):
                    sheet.write_datetime(row, at, pd.Timestamp(cell).to_pydatetime(), date)
                elif isinstance(cell, str):
                    sheet.write_string(row, at, cell)
                else:
                    sheet.write_number(row, at, float(cell))
    book.close()
    return folder / "records.xlsx"


def test_a_workbook_of_the_same_plant_gives_the_same_answers(
    plant: tuple[Tables, str], whole: Study, tmp_path: Path
) -> None:
    book = run_study(write_workbook(tmp_path, *plant))
    for name in ANSWERS:
        ours, theirs = book.tables[name], whole.tables[name]
        if name == "costs":  # its sources name the files
            ours, theirs = ours.drop(columns="source"), theirs.drop(columns="source")
            pd.testing.assert_frame_equal(ours, theirs, rtol=1e-12)
            continue
        pd.testing.assert_frame_equal(ours, theirs, check_exact=True)


def test_the_order_of_columns_does_not_matter(
    plant: tuple[Tables, str], write: Write, whole: Study
) -> None:
    turned = {name: table[table.columns[::-1]] for name, table in plant[0].items()}
    study = run_study(write(**turned))
    for name in ANSWERS:
        pd.testing.assert_frame_equal(study.tables[name], whole.tables[name], check_exact=True)


# ---- optional tables -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    ["findings", "issued", "readings", "moves", "on_hand", "on_order", "plan", "spend",
     "compatibility"],
)  # fmt: skip
def test_a_study_without_an_optional_table_is_whole(write: Write, whole: Study, name: str) -> None:
    study = run_study(write(**{name: None}))
    assert not study.stopped
    untried = {"trial_power"} if name == "compatibility" else set()  # no material may be tried
    assert set(study.tables) == {"account", "audit", "costs", *ANSWERS} - untried
    assert not rules(study, "stop")
    check = {
        "findings": without_findings, "readings": without_readings, "moves": without_moves,
        "on_hand": without_stock, "on_order": without_orders, "plan": without_plan,
        "spend": without_spend,
    }.get(name, without_bearing)  # fmt: skip
    check(study, whole)


def without_findings(study: Study, whole: Study) -> None:
    """Nobody wrote which ball or seat it was; diaphragms and balls still fail as often."""
    places = [t.tables["lives"].query("endpoint == 'failed'")["position"] for t in (study, whole)]
    assert (places[0] == "unknown").mean() > (places[1] == "unknown").mean() + 0.2


def without_readings(study: Study, whole: Study) -> None:
    assert "no_readings" in rules(study, "caution")
    graded = [t.tables["lives"]["usage_grade"].eq("assumed").mean() for t in (study, whole)]
    assert graded[0] > graded[1]


def without_moves(study: Study, whole: Study) -> None:
    """The pump that was lent to the glaze has moved sludge all the time, for all anyone wrote."""
    services = [set(t.tables["lives"]["service"]) for t in (study, whole)]
    assert services == [{SERVICE}, {SERVICE, "glaze"}]
    lent = whole.tables["lives"].query("service == 'glaze'")
    assert set(lent["pump_id"]) == {study.records.pumps["pump_id"].min()}
    assert (lent["entry"] > 0).any()


def without_stock(study: Study, whole: Study) -> None:
    assert study.tables["stock"]["today_on_hand"].fillna(0).eq(0).all()
    assert whole.tables["stock"]["today_on_hand"].fillna(0).gt(0).any()
    assert study.tables["orders"]["quantity"].sum() > whole.tables["orders"]["quantity"].sum()


def without_orders(study: Study, whole: Study) -> None:
    assert study.tables["orders"]["quantity"].sum() > whole.tables["orders"]["quantity"].sum()


def without_plan(study: Study, whole: Study) -> None:
    """What is planned shapes nothing that lies behind."""
    for name in ("lives", "fits"):
        assert same(study.tables[name], whole.tables[name])
    volume = [
        t.tables["bridge"].query("site == 'all' and place == 3")["amount"].sum()
        for t in (study, whole)
    ]
    assert volume[1] > volume[0]


def without_spend(study: Study, whole: Study) -> None:
    scenarios = [set(t.tables["budget"]["scenario"]) for t in (study, whole)]
    assert scenarios[0] == scenarios[1]
    assert study.tables["booked"].empty
    assert len(whole.tables["booked"])
    assert same(study.tables["intervals"], whole.tables["intervals"])


def without_bearing(study: Study, whole: Study) -> None:
    """Kits are written on every ticket here, so neither issues nor approvals change a life."""
    keys = ["pump_id", "part", "end_on", "outcome"]
    counts = [t.tables["lives"].groupby(keys).size() for t in (study, whole)]
    assert (counts[0].sub(counts[1], fill_value=0).abs() > 0).mean() < 0.05


def test_without_kit_contents_two_diaphragms_four_balls_four_seats(
    write: Write, whole: Study
) -> None:
    study = run_study(write(kit_contents=None), results=())
    audit = study.tables["audit"]
    said = audit[audit["what"].str.contains("kit_contents") & (audit["severity"] == "caution")]
    assert len(said)
    fluid = [t.tables["lives"].query("side == 'fluid'") for t in (study, whole)]
    counts = [table.groupby(["pump_id", "part"]).size() for table in fluid]
    pd.testing.assert_series_equal(*counts)


# ---- prices and usage ----------------------------------------------------------------------------


@pytest.mark.parametrize("lacking", ["costs", "prices"])
def test_without_prices_lives_and_fits_are_given_and_the_rest_withheld(
    plant: tuple[Tables, str], write: Write, whole: Study, lacking: str
) -> None:
    if lacking == "costs":
        folder = write(cut_section(plant[1], "costs"))
    else:
        folder = write(
            kits=plant[0]["kits"].assign(unit_cost=""), parts=plant[0]["parts"].assign(unit_cost="")
        )
    study = run_study(folder)
    told = {"account", "audit", "lives", "fits", "duty_effects", "questions", "pumps", "likeness"}
    told |= {"materials", "material_exposure", "trials", "trial_looks", "trial_plans", "kpi"}
    assert set(study.tables) == told
    assert study.tables["pumps"]["expected_cost"].isna().all()
    assert not study.stopped
    for name in ("lives", "fits"):
        assert same(study.tables[name], whole.tables[name])
    stops = study.tables["audit"].query("severity == 'stop'")["what"].tolist()
    for result in ("intervals", "stock", "budget"):
        assert sum(what.startswith(f"No {result} can be given") for what in stops) == 1
    word = "[costs]" if lacking == "costs" else "unit_cost"
    assert all(word in what for what in stops)


def test_a_pump_without_readings_or_use_gives_no_lives_and_the_others_do(
    plant: tuple[Tables, str], write: Write, whole: Study
) -> None:
    silent = plant[0]["pumps"]["pump_id"].iloc[-1]
    changed = {
        "readings": plant[0]["readings"].query("pump_id != @silent"),
        "pumps": plant[0]["pumps"].assign(
            use_per_week=lambda t: t["use_per_week"].mask(t["pump_id"] == silent)
        ),
        "rebuilds": plant[0]["rebuilds"].assign(
            meter=lambda t: t["meter"].mask(t["pump_id"] == silent)
        ),
    }
    study = run_study(write(**changed), results=())
    lives = [t.tables["lives"] for t in (study, whole)]
    assert silent in set(lives[1]["pump_id"])
    assert set(lives[1]["pump_id"]) - set(lives[0]["pump_id"]) == {silent}
    audit = study.tables["audit"].query("pump_id == @silent")
    assert "usage_unknown" in set(audit["rule"])
    account = study.tables["account"].query("pump_id == @silent")
    tickets = account[account["kind"] == "ticket"]
    assert len(tickets)
    assert set(account["status"]) == {"set aside"}
    assert set(tickets["reason"]) == {"The usage of its pump isn't known."}


def test_no_usage_at_all_stops_the_study(plant: tuple[Tables, str], write: Write) -> None:
    study = run_study(
        write(
            readings=None,
            pumps=plant[0]["pumps"].drop(columns="use_per_week"),
            rebuilds=plant[0]["rebuilds"].drop(columns="meter"),
        )
    )
    assert study.stopped
    assert set(study.tables) == {"audit", "questions"}
    assert rules(study, "stop") == {"no_lives"}


# ---- adopted intervals ---------------------------------------------------------------------------


def adopt(interval: Any) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "service": SERVICE, "size_mm": 50, "side": "fluid", "kit": KIT, "hazard": "none",
                "interval": interval, "decided_by": "works council", "decided_on": "2025-01-15",
            }
        ]
    )  # fmt: skip


def row_of(study: Study) -> pd.Series:
    table = study.tables["intervals"]
    return table[(table["kit"] == KIT) & (table["size_mm"] == 50)].iloc[0]


def dues_of(study: Study) -> pd.DataFrame:
    due = study.tables["due"]
    return due[(due["kit"] == KIT) & (due["side"] == "fluid")]


def test_due_stock_and_orders_follow_what_the_plant_has_adopted(write: Write, whole: Study) -> None:
    advised = row_of(whole)["interval"]
    assert np.isfinite(advised)
    study = run_study(write(adopted=adopt(round(0.4 * advised))), results=["budget"])
    row = row_of(study)
    assert row["interval"] == pytest.approx(advised)
    assert row["adopted_interval"] == round(0.4 * advised)
    assert row["cost_of_keeping"] > 0
    assert row["review"].startswith("review: it costs over 5 % more")
    assert (dues_of(study)["due_usage"] == round(0.4 * advised)).all()
    np.testing.assert_allclose(dues_of(whole)["due_usage"], advised)
    assert (dues_of(study)["due_on"].to_numpy() <= dues_of(whole)["due_on"].to_numpy()).all()
    kit = [t.tables["stock"].query("item == @KIT").iloc[0] for t in (study, whole)]
    assert kit[0]["planned_per_year"] > 1.5 * kit[1]["planned_per_year"]
    assert kit[0]["demand_per_year"] < kit[1]["demand_per_year"]
    soon = [dues_of(t)["do_on"].mean() for t in (study, whole)]
    assert soon[0] < soon[1]
    budget = study.tables["budget"].query("site == 'all' and quantity == 'kits'")
    assert {"advised", "adopted"} <= set(budget["scenario"])
    own = ["pump_id", "side", "age_now", "due_usage", "due_on"]  # the bench is shared
    first, second = (
        t.tables["due"].loc[t.tables["due"]["kit"] != KIT, own].sort_values(["pump_id", "side"])
        for t in (study, whole)
    )
    assert same(first.reset_index(drop=True), second.reset_index(drop=True))


def test_an_adopted_interval_near_the_advice_is_kept(write: Write, whole: Study) -> None:
    advised = row_of(whole)["interval"]
    row = row_of(run_study(write(adopted=adopt(round(1.05 * advised))), results=()))
    assert row["review"] == "keep"
    assert 0 <= row["cost_of_keeping"] < 0.05 * row["cost_rate"] * row["usage_per_year"] / 1000


def test_run_to_failure_can_be_adopted(write: Write) -> None:
    study = run_study(write(adopted=adopt("")), results=())
    assert np.isnan(row_of(study)["adopted_interval"])
    assert row_of(study)["review"].startswith("review")
    assert dues_of(study)["due_usage"].isna().all()
    assert dues_of(study)["due_on"].isna().all()


# ---- units ---------------------------------------------------------------------------------------


def in_cycles(folder: Path, *, unit: str, per_hour: float) -> Study:
    """The small plant with its usage in cycles, its meters in `unit`."""
    readings = [
        row | {"reading": row["reading"] * per_hour, "unit": unit} for row in reading_rows()
    ]
    pumps = [row | {"use_per_week": 70 * 3000} for row in pump_rows()]
    settings = SETTINGS.replace('usage_unit = "hours"', 'usage_unit = "cycles"')
    small = small_plant(folder, plant_toml=settings, pumps=pumps, readings=readings)
    return run_study(small, results=())


@pytest.fixture(scope="module")
def hours(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """The small plant with its usage in hours."""
    return run_study(small_plant(tmp_path_factory.mktemp("hours")), results=())


@pytest.mark.parametrize(("unit", "per_hour"), [("cycles", 3000.0), ("strokes", 6000.0)])
def test_a_plant_counted_in_cycles_differs_by_the_factor_alone(
    hours: Study, tmp_path: Path, unit: str, per_hour: float
) -> None:
    """3000 cycles, which are 6000 strokes, an hour."""
    cycles = in_cycles(tmp_path / "cycles", unit=unit, per_hour=per_hour)
    one, two = hours.tables["fits"], cycles.tables["fits"]
    np.testing.assert_allclose(two["shape"], one["shape"], rtol=1e-6)
    np.testing.assert_allclose(two["scale"], 3000 * one["scale"], rtol=1e-6)
    first, second = (t.tables["intervals"] for t in (hours, cycles))
    assert second["rate_unit"].str.contains("per million cycles").all()
    assert first["rate_unit"].str.contains("per 1,000 h").all()
    np.testing.assert_allclose(second["cost_rate"], first["cost_rate"] / 3, rtol=1e-3)
    np.testing.assert_allclose(second["interval_weeks"], first["interval_weeks"], rtol=1e-3)
    assert cycles.tables["due"]["due_on"].equals(hours.tables["due"]["due_on"])


def test_nothing_is_known_after_the_records_end(whole: Study, hours: Study) -> None:
    assert (whole.tables["lives"]["end_on"] <= pd.Timestamp("2025-06-30")).all()
    assert (hours.tables["lives"]["end_on"] <= LAST_DAY).all()
