"""Last year beside the model: smoothed issues by hand, expected and taken on a plant by hand."""

import numpy as np
import pytest

from pumplife.stock.demand_check import CHECK_COLUMNS, croston_rate
from pumplife.study import run_study
from tests.plants import on_day, rebuild_rows, small_plant


def test_smoothed_issues_by_hand():
    # months with 2 and 4 pieces, 2 and 3 months after the one before
    counts = np.array([[0, 2, 0, 0, 4, 0.0], [0, 0, 0, 0, 0, 0], [1, 1, 1, 1, 1, 1]])
    size, gap = 2 + 0.1 * (4 - 2), 2 + 0.1 * (3 - 2)
    np.testing.assert_allclose(croston_rate(counts), [0.95 * size / gap, 0.0, 0.95])


def test_smoothed_issues_are_about_right_on_the_whole():
    """One month in four, two pieces: a rate of a half; uncorrected it would be 3 % too high."""
    rng = np.random.default_rng(4)
    counts = 2.0 * (rng.random((3000, 240)) < 0.25)
    assert croston_rate(counts).mean() == pytest.approx(0.5, rel=0.025)


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    issued = [
        {"issued_on": on_day(day), "item": "FK", "quantity": n, "store": "works"}
        for day, n in ((10, 2), (300, 1), (420, 3), (425, -1), (700, 1))
    ]
    folder = small_plant(tmp_path_factory.mktemp("check"), issued=issued)
    return run_study(folder, results=["stock"]).tables["demand_check"]


def test_the_last_year_of_the_small_plant_by_hand(table):
    assert tuple(table.columns) == CHECK_COLUMNS
    row = table[table["item"] == "FK"].iloc[0]
    # after day 365: R-5 broke down and took a kit; R-4 took a loose ball; R-2 was planned
    assert row["breakdowns_12m"] == 1
    assert row["issued_12m"] == 3 - 1 + 1
    # of the 23 whole months before day 730 the issue on day 10 is none: 4 pieces, in 3 months
    assert row["issued_per_year"] == pytest.approx(4 / 23 * 12)
    assert row["issue_size"] == pytest.approx(4 / 3)
    assert row["months_between"] == pytest.approx(23 / 3)
    assert row["ratio"] == pytest.approx(row["expected_12m"])
    assert row["expected_low"] <= row["expected_12m"] <= row["expected_high"]
    assert row["next_12m"] > 0


def test_a_year_with_more_breakdowns_than_expected_asks_why(tmp_path):
    quiet = [row for row in rebuild_rows() if row["rebuild_id"] != "R-5"]
    rows = [
        {"rebuild_id": f"X-{n}", "pump_id": "P-3", "opened_on": on_day(640 + 8 * n),
         "reason": "breakdown", "kit": "FK", "failed_part": "ball"}
        for n in range(11)
    ]  # fmt: skip
    table = run_study(small_plant(tmp_path, rebuilds=[*quiet, *rows]), results=["stock"]).tables[
        "demand_check"
    ]
    row = table[table["item"] == "FK"].iloc[0]
    assert row["breakdowns_12m"] == 11
    if row["expected_high"] < 11:
        assert "ask what was harder on these pumps" in row["verdict"]
    assert row["ratio"] < 1.25
