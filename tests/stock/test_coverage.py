"""Demand by part against what kits bring: by hand, and adding up whatever the records say."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.stock.coverage import OpeningTally, cover_parts
from pumplife.stock.future import planned_at
from pumplife.stock.shelf import plan_stock
from tests.plants import part_rows, small_tables
from tests.stock.fleets import lives as life_draws
from tests.stock.fleets import run_to_failure, side_group, simulate_demand
from tests.stock.test_loose import ORING, PLATE, events, issue, loose, share
from tests.stock.test_plan import steps

YEAR = ["failed_per_year", "demand_per_year", "kit_supplied_per_year", "uncovered_per_year"]
YEAR.append("surplus_per_year")


def counted(group, rows, replicates=1):
    """A tally that was shown these events of the group's first pump."""
    tally = OpeningTally(replicates=replicates)
    tally(group, events(*rows))
    return tally


def group_of(kit="FK", **changes):
    draws = life_draws([1.0, 1.0, 1.0], [1e3, 1e3, 1e3])
    names = {"part_no": ("DIAPHRAGM", "BALL", "SEAT"), "part": ("diaphragm", "ball", "seat")}
    return side_group(1, draws, count=[2, 4, 4], store="works", kit=kit, **names, **changes)


def cover(folder, group, tally, parts=(), loose_parts=(), **overrides):
    records, lives, _ = steps(folder, parts=[*part_rows(), *parts], **overrides)
    table = cover_parts(records, lives, [group], [tuple(loose_parts)], tally=tally, fouling=[0.0])
    return table.set_index("part_no")


def test_a_year_of_openings_by_hand(tmp_path):
    # planned; a ball with the kit; a ball alone; a diaphragm alone (positions: 2 + 4 + 4)
    tally = counted(group_of(), [(-1, True), (2, True), (3, False), (0, False)])
    rows = cover(tmp_path, group_of(), tally)
    assert rows.loc["BALL", YEAR].tolist() == [2, 9, 8, 1, 0]
    assert rows.loc["DIAPHRAGM", YEAR].tolist() == [1, 5, 4, 1, 0]
    assert rows.loc["SEAT", YEAR].tolist() == [0, 8, 8, 0, 0]
    assert (rows["kits"] == "FK").all()
    assert rows["part"].tolist() == ["ball", "diaphragm", "seat"]


def test_kept_seats_are_left_of_the_kit(tmp_path):
    # of four kits fitted one left all four seats in the pump, one a single one
    kept = {"part": "seat", "found": "sound", "action": "kept"}
    findings = [
        *small_tables()["findings"],
        kept | {"rebuild_id": "R-2", "pump_id": "P-1"},
        kept | {"rebuild_id": "R-3", "pump_id": "P-2", "position": "suction_left"},
    ]
    rows = cover(tmp_path, group_of(), counted(group_of(), [(-1, True)]), findings=findings)
    assert rows.loc["SEAT", "surplus_per_year"] == pytest.approx(4 * 5 / 16)
    assert rows.loc["SEAT", "demand_per_year"] == pytest.approx(4 * 11 / 16)
    assert rows.loc["SEAT", "surplus_value"] == pytest.approx(4 * 5 / 16 * 12)
    assert rows.loc["BALL", "surplus_per_year"] == 0


def test_parts_of_every_opening_are_loose_where_no_kit_is_fitted(tmp_path):
    ring = loose(part_no="ORING", part="o-ring set", pieces=np.array([1]), held=1)
    unknown = loose(why="nobody knows")
    openings = [(-1, True), (2, True), (3, False), (0, False)]
    contents = [*small_tables()["kit_contents"], {"kit": "FK", "part_no": "ORING", "quantity": 1}]
    rows = cover(
        tmp_path, group_of(), counted(group_of(), openings), [ORING, PLATE], [ring, unknown],
        kit_contents=contents,
    )  # fmt: skip
    assert rows.loc["ORING", YEAR].tolist() == [0, 4, 2, 2, 0]
    assert rows.loc["PLATE", ["demand_per_year", "uncovered_per_year"]].isna().all()
    assert rows.loc["PLATE", "why"] == "nobody knows"
    assert rows.loc["PLATE", "kit_supplied_per_year"] == 0


def test_more_in_the_kit_than_a_pump_holds_is_left_over(tmp_path):
    contents = [row | ({"quantity": 6} if row["part_no"] == "BALL" else {})
                for row in small_tables()["kit_contents"]]  # fmt: skip
    tally = counted(group_of(), [(-1, True)])
    rows = cover(tmp_path, group_of(), tally, kit_contents=contents)
    assert rows.loc["BALL", YEAR].tolist() == [0, 4, 6, 0, 2]


def test_a_kit_without_contents_covers_nothing(tmp_path):
    tally = counted(group_of(kit="BARE"), [(-1, True), (3, False)])
    assert cover(tmp_path, group_of(kit="BARE"), tally).empty


def test_common_parts_of_two_kits_are_one_row(tmp_path):
    groups = [group_of(), group_of(kit="FK2", first=1)]
    tally = OpeningTally(replicates=2)
    for group in groups:
        tally(group, events((-1, True), (3, False)))
    contents = [*small_tables()["kit_contents"], {"kit": "FK2", "part_no": "BALL", "quantity": 4}]
    records, lives, _ = steps(tmp_path, kit_contents=contents)
    rows = cover_parts(records, lives, groups, [(), ()], tally=tally, fouling=[0.0, 0.0])
    ball = rows.set_index("part_no").loc["BALL"]
    # two futures: half an opening of each kind a year in each group
    assert ball[YEAR].tolist() == [1, 5, 4, 1, 0]
    assert ball["kits"] == "FK, FK2"


def test_fouled_air_sides_take_what_is_in_their_kit(tmp_path):
    fluid = group_of(releases=np.array([True, False, False]))
    air = side_group(
        1, life_draws([1.0], [1e9]), side="air", kit="AK", part_no=("VALVE",), part=("air valve",),
        store="works",
    )  # fmt: skip
    tally = OpeningTally(replicates=1)
    tally(fluid, events((0, True), (1, True), (3, True)))
    tally(air, events())
    valve = {"part_no": "VALVE", "part": "air valve", "side": "air", "per_pump": 1}
    tables = small_tables()
    records, lives, _ = steps(
        tmp_path,
        parts=[*part_rows(), valve | {"unit_cost": 80.0, "lead_time_days": 20}],
        kits=[*tables["kits"], {"kit": "AK", "side": "air", "unit_cost": 90.0}],
        kit_contents=[*tables["kit_contents"], {"kit": "AK", "part_no": "VALVE", "quantity": 1}],
    )
    rows = cover_parts(records, lives, [fluid, air], [(), ()], tally=tally, fouling=[0.25, 0.0])
    # two diaphragms of three failures release, a quarter of them fouls the air side
    assert rows.set_index("part_no").loc["VALVE", YEAR].tolist() == [0, 0.5, 0.5, 0, 0]


@settings(max_examples=40, deadline=None)
@given(
    openings=st.lists(
        st.tuples(st.integers(-1, 9), st.booleans()).map(lambda e: (e[0], e[1] or e[0] < 0)),
        max_size=9,
    ),
    held=st.integers(0, 3),
    pieces=st.integers(1, 3),
)
def test_coverage_adds_up(records_of, openings, held, pieces):
    records, lives = records_of()
    group = group_of()
    parts = (
        loose(part_no="ORING", pieces=np.array([pieces]), held=held),
        loose(part_no="PLATE", pieces=np.array([1, pieces]), share=share_of(openings), held=held),
    )
    tally = counted(group, openings)
    rows = cover_parts(records, lives, [group], [parts], tally=tally, fouling=[0.0])
    into = rows["demand_per_year"] + rows["surplus_per_year"]
    out_of = rows["kit_supplied_per_year"] + rows["uncovered_per_year"]
    np.testing.assert_allclose(into, out_of, atol=1e-9)
    assert (rows[YEAR] >= -1e-9).all(axis=None)


def share_of(openings):
    return share((len(openings), 1), (12, 12), (1,))


@pytest.fixture(scope="module")
def records_of(tmp_path_factory):
    tables = small_tables()
    contents = [*tables["kit_contents"], {"kit": "FK", "part_no": "ORING", "quantity": 1}]
    kept = {"part": "seat", "found": "sound", "action": "kept"}
    findings = [*tables["findings"], kept | {"rebuild_id": "R-2", "pump_id": "P-1"}]
    records, lives, _ = steps(
        tmp_path_factory.mktemp("plant"), parts=[*part_rows(), ORING, PLATE],
        kit_contents=contents, findings=findings,
    )  # fmt: skip
    return lambda: (records, lives)  # what hypothesis can show in few words


def test_more_failures_never_lower_what_is_needed_loose(records_of):
    records, lives = records_of()
    group = group_of()
    few, many = ([(3, False)] * count for count in (2, 5))
    low, high = (
        cover_parts(records, lives, [group], [()], tally=counted(group, rows), fouling=[0.0])
        for rows in (few, many)
    )
    for name in YEAR:
        assert (high[name] >= low[name]).all()


# ---- in the plan ---------------------------------------------------------------------------------


def test_coverage_counts_the_futures_that_levels_are_made_from():
    group = side_group(20, life_draws([1.0, 1.0], [4000.0, 8000.0]))
    tally = OpeningTally(replicates=500)
    first, second, kit = simulate_demand(
        [group],
        [run_to_failure(0.25)],
        dict.fromkeys("KBC", (60.0, 60.0)),
        review_days=30.0,
        replicates=500,
        seed=3,
        seen=tally,
    )
    openings = tally.found[group.stream, "MAIN"]
    assert openings.with_kit.sum() == pytest.approx(kit.year.mean())
    assert openings.failed[:, 1] == pytest.approx([first.year.mean(), second.year.mean()])
    assert openings.without_kit.tolist() == [0, pytest.approx(openings.failed[:, 1].sum())]


def test_planned_openings_are_counted_as_such():
    group = side_group(7, life_draws([5.0], [1e9]))
    tally = OpeningTally(replicates=10)
    simulate_demand(
        [group],
        [planned_at(499.0)],
        {"K": (60.0, 60.0)},
        review_days=30.0,
        replicates=10,
        seed=3,
        seen=tally,
    )
    openings = tally.found[group.stream, "MAIN"]
    assert openings.with_kit.tolist() == [14, 0]
    assert openings.without_kit.sum() == openings.failed.sum() == 0


def plan_of(folder, **overrides):
    taken = steps(folder, **overrides)
    return taken[0], plan_stock(*taken, seed=1)


def test_loose_parts_get_levels_and_orders(tmp_path):
    issued = [issue(order, "FK") for order in ("R-1", "R-2", "R-3", "R-5")]
    issued += [issue(order, "PLATE", 2) for order in ("R-1", "R-3")]
    _, plan = plan_of(tmp_path, parts=[*part_rows(), PLATE, ORING], issued=issued)
    stock = plan.stock.set_index("item")
    assert stock.loc["PLATE", "order_up_to"] >= 2
    assert stock.loc["PLATE", "demand_per_year"] > 0
    # every opening takes an o-ring set beside the kit
    assert stock.loc["ORING", "demand_per_year"] == pytest.approx(
        stock.loc["FK", "demand_per_year"]
    )
    assert {"PLATE", "ORING"} <= set(plan.orders["item"])
    assert set(plan.coverage["part_no"]) == {"DIAPHRAGM", "BALL", "SEAT", "PLATE", "ORING"}
    covered = plan.coverage.set_index("part_no")
    assert covered.loc["ORING", "uncovered_per_year"] == pytest.approx(
        stock.loc["ORING", ["demand_per_year", "planned_per_year"]].sum()
    )


def test_a_part_of_unknown_share_has_a_blank_level_and_says_why(tmp_path):
    records, plan = plan_of(tmp_path, parts=[*part_rows(), PLATE])
    row = plan.stock.set_index("item").loc["PLATE"]
    assert row[["demand_per_year", "reorder_point", "order_up_to"]].isna().all()
    assert row["verdict"].startswith("no level: no finding and no issue")
    assert (records.log.frame()["rule"] == "share_unknown").sum() == 1
    assert plan.orders[plan.orders["item"] == "PLATE"].empty


def test_no_loose_demand_no_loose_stock(tmp_path):
    _, plan = plan_of(tmp_path)
    assert set(plan.stock["item"]) == {"FK"}
    assert plan.on_condition.empty
    assert isinstance(plan.loose, list)
    assert plan.loose == [()]
    assert isinstance(plan.coverage, pd.DataFrame)


def test_planned_jobs_order_what_every_opening_takes(tmp_path):
    adopted = {"service": "slip", "side": "fluid", "interval": 500, "decided_by": "A. N. Other"}
    _, plan = plan_of(
        tmp_path,
        parts=[*part_rows(), ORING],
        adopted=[adopted | {"decided_on": "2021-12-01"}],
    )
    orders = plan.orders.set_index("item")
    stock = plan.stock.set_index("item")
    assert stock.loc["ORING", "planned_per_year"] == stock.loc["FK", "planned_per_year"] > 0
    assert "planned job" in orders.loc["ORING", "why"]
