"""Changed answers and their causes: shares by hand, properties, and the runs that they cost."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from pumplife.errors import ComparisonError
from pumplife.records.read import Written, read_written
from pumplife.records.versions import list_versions
from pumplife.report.write import write_study, write_table
from pumplife.since.answers import INDEX, list_answers
from pumplife.since.changes import CHANGE_COLUMNS, Step, find_changes, share_changes
from pumplife.since.kept import Kept, open_kept
from pumplife.study import run_study

from ..plants import SETTINGS, on_day, pump_rows, rebuild_rows, small_plant

Tables = Mapping[str, pd.DataFrame]


def answers(values: Mapping[tuple[str, str, str], str]) -> "pd.Series[str]":
    index = pd.MultiIndex.from_tuples(list(values), names=INDEX)
    return pd.Series(list(values.values()), index=index, dtype=object)


def chain(column: str, *values: str | None, table: str = "intervals") -> pd.DataFrame:
    """The changes of one answer that had these values; None where its row wasn't there."""
    causes = ("", "records", "plan", "prices", "settings")[: len(values)]
    steps = [
        Step(cause=cause, answers=answers({} if value is None else {(table, "one", column): value}))
        for cause, value in zip(causes, values, strict=True)
    ]
    return share_changes(steps)


# ---- shares by hand ------------------------------------------------------------------------------


def test_a_number_is_shared_by_how_far_each_cause_moved_it() -> None:
    found = chain("interval", "2600", "2200", "2200", "2100")
    assert found["cause"].tolist() == ["records", "prices"]
    np.testing.assert_allclose(found["share_of_change"], [0.8, 0.2])
    assert found["reached"].tolist() == ["2200", "2100"]
    assert set(found["before"]) == {"2600"}
    assert set(found["after"]) == {"2100"}


def test_causes_that_work_against_each_other_have_shares_below_0_and_over_1() -> None:
    found = chain("interval", "2000", "1800", "2400")
    np.testing.assert_allclose(found["share_of_change"], [-0.5, 1.5])


def test_a_date_is_shared_by_days() -> None:
    found = chain("do_on", "2025-01-01", "2025-01-07", "2025-01-09", table="due")
    np.testing.assert_allclose(found["share_of_change"], [0.75, 0.25])


@pytest.mark.parametrize("middle", ["", "2400"])
def test_a_blank_on_the_way_is_shared_equally(middle: str) -> None:
    found = chain("interval", "2000", middle, "" if middle else "2100")
    assert found["share_of_change"].tolist() == [0.5, 0.5]


def test_words_and_rows_that_come_or_go_belong_to_the_cause_that_moved_them() -> None:
    policy = chain("policy", "run to failure", "run to failure", "planned kit")
    assert policy[["cause", "share_of_change"]].values.tolist() == [["plan", 1.0]]
    new = chain("quantity", None, "3", table="orders")
    assert new[["before", "after", "cause"]].values.tolist() == [["", "3", "records"]]
    gone = chain("quantity", "3", "3", None, table="orders")
    assert gone[["before", "after", "cause"]].values.tolist() == [["3", "", "plan"]]


def test_what_moves_and_comes_back_has_not_changed() -> None:
    assert chain("interval", "2000", "1800", "2000").empty
    assert tuple(chain("interval", "2000", "2000").columns) == CHANGE_COLUMNS


VALUES = some.lists(
    some.lists(some.sampled_from(["", "0", "1", "2.5", "-3", "word"]), min_size=4, max_size=4),
    min_size=1,
    max_size=6,
)


@given(VALUES)
@settings(max_examples=60, deadline=None)
def test_shares_add_up_to_1_for_every_changed_answer_and_for_no_other(
    values: list[list[str]],
) -> None:
    keys = [("intervals", f"{n}", "interval") for n in range(len(values))]
    steps = [
        Step(cause=cause, answers=answers(dict(zip(keys, step, strict=True))))
        for cause, step in zip(("", "a", "b", "c"), zip(*values, strict=True), strict=True)
    ]
    found = share_changes(steps)
    moved = {key[1] for key, (first, *_, last) in zip(keys, values, strict=True) if first != last}
    assert set(found["key"]) == moved
    np.testing.assert_allclose(found.groupby("key")["share_of_change"].sum(), 1.0, rtol=1e-12)


# ---- answers -------------------------------------------------------------------------------------


def test_answers_are_the_same_from_tables_and_from_their_files(tmp_path: Path) -> None:
    group = {"service": "slip", "size_mm": 50.0, "side": "fluid", "kit": "FK", "hazard": "none"}
    due = {"pump_id": ["P-1", "P-2"], "side": "air", "do_on": [pd.Timestamp("2025-03-01"), pd.NaT]}
    tables = {
        "intervals": pd.DataFrame(
            [
                group | {"policy": "planned kit", "interval": 1 / 3, "saving_per_year": 1e-12},
                group | {"hazard": "hazardous", "policy": "run to failure", "interval": np.nan},
            ]
        ),
        "due": pd.DataFrame(due),
        "stock": pd.DataFrame(
            {"store": "main", "item": "FK", "reorder_point": [2], "order_up_to": [3.0]}
        ),
    }
    read = {}
    for name, frame in tables.items():
        write_table(frame, tmp_path / f"{name}.csv")
        read[name] = pd.read_csv(tmp_path / f"{name}.csv", dtype=str, keep_default_na=False)
    computed = list_answers(tables)
    pd.testing.assert_series_equal(computed, list_answers(read))
    assert computed["intervals", "slip, 50 mm, fluid, FK", "interval"] == "0.3333333333"
    assert computed["intervals", "slip, 50 mm, fluid, FK", "saving_per_year"] == "0"
    assert computed["intervals", "slip, 50 mm, fluid, FK, hazardous", "interval"] == ""
    assert computed["due", "P-2, air", "do_on"] == ""


# ---- which runs it takes -------------------------------------------------------------------------

DEARER = SETTINGS.replace("labour_per_h = 50.0", "labour_per_h = 60.0")
BUSIER = [{"service": "slip", "from_on": on_day(800), "use_factor": 1.5}]
ONE_MORE = [
    *rebuild_rows(),
    {"rebuild_id": "R-6", "pump_id": "P-1", "opened_on": on_day(700), "reason": "planned"},
]


def told(plant: Written) -> Tables:
    """A study whose one answer tells which of its inputs are whose."""
    words = [
        str(len(plant.tables["rebuilds"])),
        str(len(plant.tables["plan"])),
        str(plant.plant.cost("labour_per_h")),
        str(plant.plant.service_level),
    ]
    group = {"service": "slip", "size_mm": 50.0, "side": "fluid", "kit": "FK", "hazard": "none"}
    return {
        "intervals": pd.DataFrame(
            [group | {"policy": " ".join(words), "interval": 1.0, "saving_per_year": 0.0}]
        )
    }


def compare(
    tmp_path: Path, *, versions: dict[str, str] | None = None, **today: Any
) -> tuple[pd.DataFrame, int]:
    """What changed from the small plant, and the runs that it took."""
    old = read_written(small_plant(tmp_path / "old"))
    new = read_written(small_plant(tmp_path / "new", **today))
    kept = Kept(
        folder=tmp_path,
        seed=1,
        versions=versions or list_versions(),
        written=old,
        answers=list_answers(told(old)),
    )
    runs: list[Written] = []

    def run(files: Written) -> Tables:
        runs.append(files)
        return told(files)

    return find_changes(kept, new, told(new), run=run), len(runs)


def test_same_inputs_cost_no_run_and_change_nothing(tmp_path: Path) -> None:
    found, runs = compare(tmp_path)
    assert found.empty
    assert runs == 0


def test_one_cause_costs_no_run(tmp_path: Path) -> None:
    found, runs = compare(tmp_path, rebuilds=ONE_MORE)
    assert found["cause"].tolist() == ["records"]
    assert runs == 0


def test_all_causes_are_swapped_one_after_the_other(tmp_path: Path) -> None:
    found, runs = compare(
        tmp_path,
        rebuilds=ONE_MORE,
        plan=BUSIER,
        plant_toml=DEARER.replace("service_level = 0.95", "service_level = 0.9"),
    )
    assert runs == 3
    assert found["cause"].tolist() == ["records", "plan", "prices", "settings"]
    assert found["reached"].tolist() == [
        "6 0 50.0 0.95",
        "6 1 50.0 0.95",
        "6 1 60.0 0.95",
        "6 1 60.0 0.9",
    ]


def test_another_version_runs_the_old_inputs_again(tmp_path: Path) -> None:
    found, runs = compare(tmp_path, versions={"numpy": "0"}, plant_toml=DEARER)
    assert runs == 1
    assert found["cause"].tolist() == ["prices"]  # the old inputs still give the old answer


def test_inputs_that_do_not_go_together_are_one_cause(tmp_path: Path) -> None:
    old = read_written(small_plant(tmp_path / "old"))
    new = read_written(small_plant(tmp_path / "new", rebuilds=ONE_MORE, plant_toml=DEARER))
    kept = Kept(
        folder=tmp_path,
        seed=1,
        versions=list_versions(),
        written=old,
        answers=list_answers(told(old)),
    )
    found = find_changes(kept, new, told(new), run=lambda files: {})
    assert found["cause"].tolist() == ["records and prices"]


@pytest.mark.parametrize(
    ("was", "now"), [('"hours"', '"cycles"'), ('currency = "EUR"', 'currency = "USD"')]
)
def test_other_units_are_not_compared(tmp_path: Path, was: str, now: str) -> None:
    with pytest.raises(ComparisonError, match="can't be compared"):
        compare(tmp_path, plant_toml=SETTINGS.replace(was, now))


# ---- the whole way -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The results of a study on the small plant."""
    folder = tmp_path_factory.mktemp("plant")
    return write_study(run_study(small_plant(folder / "plant")), folder / "out")


def test_a_study_is_compared_with_an_older_one(old: Path, tmp_path: Path) -> None:
    kits = [{"kit": "FK", "side": "fluid", "size_mm": 50, "material": "CR", "unit_cost": 500.0}]
    dearer = [kits[0] | {"lead_time_days": 20}]
    looser = SETTINGS.replace("service_level = 0.95", "service_level = 0.6")
    steps: list[str] = []
    study = run_study(
        small_plant(tmp_path / "new", kits=dearer, plant_toml=looser),
        since=old,
        told=steps.append,
    )
    changes = study.tables["changes"]
    sums = changes.groupby(["table", "key", "column"])["share_of_change"].sum()
    np.testing.assert_allclose(sums, 1.0, rtol=1e-12)
    assert steps[-1] == "what changed: prices"  # one run more: the last cause's answers are today's
    by_cause = changes.groupby("cause")["table"].agg(set)
    assert by_cause["prices"] >= {"intervals", "budget"}
    assert "intervals" not in by_cause["settings"]  # how much is kept changes no interval
    assert "stock" in by_cause["settings"]
    interval = changes[changes["column"].eq("interval")].iloc[0]
    today = study.tables["intervals"]["interval"].iloc[0]
    assert float(interval["after"]) == pytest.approx(today, rel=1e-9)
    assert float(interval["after"]) > float(interval["before"])  # dearer kits are used up later


def test_without_intervals_there_is_nothing_to_compare(old: Path, tmp_path: Path) -> None:
    silent = [{k: v for k, v in row.items() if k != "use_per_week"} for row in pump_rows()]
    study = run_study(small_plant(tmp_path / "bare", pumps=silent, readings=None), since=old)
    assert "changes" not in study.tables
    told = study.tables["audit"].query("rule == 'not_compared'")
    assert told["severity"].tolist() == ["caution"]
    assert "Mend what the stops name" in told["remedy"].iloc[0]


def test_the_old_seed_stands(old: Path) -> None:
    assert open_kept(old).seed == 1
    with pytest.raises(ComparisonError, match="was made with seed 1, and seed 2 is asked for"):
        open_kept(old, seed=2)


def test_results_without_their_inputs_say_what_to_do(old: Path, tmp_path: Path) -> None:
    with pytest.raises(ComparisonError, match="is no folder that a study has written"):
        open_kept(tmp_path)
    made = json.loads((old / "study.json").read_text(encoding="utf-8"))
    (tmp_path / "study.json").write_text(json.dumps(made), encoding="utf-8")
    with pytest.raises(ComparisonError, match="holds no copy of what it read"):
        open_kept(tmp_path)
    (tmp_path / "inputs.zip").write_bytes((old / "inputs.zip").read_bytes()[:-200])
    with pytest.raises(ComparisonError, match="doesn't hold the files that the older study read"):
        open_kept(tmp_path)
