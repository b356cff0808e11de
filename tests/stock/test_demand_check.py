"""Last year beside the model: smoothed issues by hand, expected and taken on a plant by hand."""

import numpy as np
import pytest

from pumplife.stock.demand_check import CHECK_COLUMNS, _verdict, croston_rate
from pumplife.study import run_study
from tests.plants import on_day, part_rows, rebuild_rows, small_plant, small_tables
from tests.stock.test_loose import ORING, PLATE, issue


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


# ---- what openings take beside the kit -----------------------------------------------------------


def check_of(folder, issued, **tables):
    tables = {"parts": [*part_rows(), ORING, PLATE]} | tables
    folder = small_plant(folder, issued=issued, **tables)
    return run_study(folder, results=["stock"]).tables["demand_check"].set_index("item")


def test_parts_taken_by_openings_are_held_against_issues(tmp_path):
    # of the last year R-2 (planned) and R-5 (breakdown) with the kit, R-4 without
    kits = [
        issue(order, "FK", day=day) for order, day in (("R-2", 600), ("R-3", 200), ("R-5", 400))
    ]
    rings = [issue("R-2", "ORING", day=600), issue("R-5", "ORING", day=400)]
    plates = [issue("R-3", "PLATE", 2, day=200), issue("R-5", "PLATE", 2, day=400)]
    table = check_of(tmp_path, [*kits, *rings, *plates])
    ring = table.loc["ORING"]
    assert (ring["expected_12m"], ring["expected_low"], ring["expected_high"]) == (3, 3, 3)
    assert np.isnan(ring["breakdowns_12m"])
    assert ring["ratio"] == 3 / 2
    assert ring["verdict"].startswith("2 issued where openings should take at least 3: ask whether")
    plate = table.loc["PLATE"]
    # two of three openings took two: Jeffreys' mean of 2.5 / 4, of all kinds together
    assert plate["expected_12m"] == pytest.approx(3 * 2 * 2.5 / 4)
    # each opening 2 pieces by chance p, and the doubt in p moves all three together
    each, doubt = 4 * 2.5 / 4 * 1.5 / 4, 2.5 * 1.5 / 4**2 / 5
    wide = 1.6449 * np.sqrt(3 * each + (2 * 1) ** 2 * doubt + (2 * 2) ** 2 * doubt)
    assert plate["expected_high"] == np.floor(3.75 + wide)
    assert plate["verdict"] == "2 issued where 3.8 were expected: no more than chance does"
    assert not table["verdict"].str.startswith("0 where 0.0").any()


def test_what_the_kit_holds_is_not_expected_loose(tmp_path):
    contents = [*small_tables()["kit_contents"], {"kit": "FK", "part_no": "ORING", "quantity": 1}]
    parts = [*part_rows(), ORING | {"per_pump": 3}]
    issued = [issue(order, "ORING", n, day=day) for order, n, day in
              (("R-2", 2, 600), ("R-4", 3, 500), ("R-5", 2, 400))]  # fmt: skip
    ring = check_of(tmp_path, issued, kit_contents=contents, parts=parts).loc["ORING"]
    assert ring["expected_12m"] == ring["issued_12m"] == 7  # R-4 alone had no kit
    assert ring["verdict"] == "issues are as the openings lead one to expect"


def test_without_issues_of_it_a_part_is_not_checked(tmp_path):
    ring = check_of(tmp_path, [issue("R-2", "FK", day=600)]).loc["ORING"]
    assert ring["expected_12m"] == 3
    assert ring["verdict"].startswith("not checked: no issue of it is booked here")


def test_nothing_against_nothing_is_no_check(tmp_path):
    """Pieces that were issued and neither asked of the lives nor of the tickets."""
    row = {"by_openings": np.nan, "expected_12m": 0.0, "breakdowns_12m": 0.0, "ratio": np.nan}
    assert _verdict(row | {"expected_low": 0.0, "expected_high": 0.0}).startswith(
        "nothing to check"
    )
