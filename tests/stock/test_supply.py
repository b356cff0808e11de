"""Kits, loose parts or broken kits: by hand, against a plain loop, and what must hold always."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumplife.errors import SettingError
from pumplife.policy.ahead import UseAhead
from pumplife.records.plant import Plant
from pumplife.records.read import read_records
from pumplife.records.stocking import may_break_kits
from pumplife.stock.asked import count_takings
from pumplife.stock.future import planned_at
from pumplife.stock.items import Item
from pumplife.stock.kit_or_parts import compare_supply
from pumplife.stock.shelf import plan_stock
from pumplife.stock.supply import Takings, break_kits, count_together, not_in_bin
from pumplife.stock.supply_costs import Asked, PooledShelf, Room, Terms, add_demands, costs_of
from pumplife.stock.ways_of_supply import BROKEN, KITS, MIX, PARTS, TODAY, WAYS, Supply
from tests.plants import SETTINGS, small_plant
from tests.stock.fleets import lives as life_draws
from tests.stock.fleets import mean_of, run_to_failure, side_group
from tests.stock.test_plan import side_costs, steps

DAY = pd.Timestamp("2024-01-01")
COSTS = {"holding_per_year": 0.2, "order": 0.0, "waiting_per_day": 100.0}


def needs(rows):
    """(replicate, day, item) as takings."""
    replicate, day, item = (np.array(column) for column in zip(*rows, strict=True))
    return Takings(
        item=item.astype(np.intp),
        replicate=replicate.astype(np.intp),
        day=day.astype(float),
        planned=np.zeros(len(rows), bool),
    )


# ---- the bin of broken kits ----------------------------------------------------------------------


def test_kits_are_broken_when_the_bin_has_none_left():
    # a kit holds two of item 0 and one of item 1
    held = np.array([2, 1])
    rows = [(0, 1, 0), (0, 2, 0), (0, 3, 1), (0, 4, 0), (0, 5, 1), (0, 6, 1), (1, 1, 1)]
    opened = break_kits(needs(rows), held)
    assert opened.tolist() == [True, False, False, True, False, True, True]


def test_an_opening_that_breaks_no_kit_takes_from_the_bin():
    broken = needs([(0, 2, 0), (0, 6, 0)])
    rings = needs([(0, 1, 0), (0, 2, 0), (0, 3, 0), (0, 7, 0), (1, 9, 0)])
    assert not_in_bin(rings, broken, 1).tolist() == [True, False, True, False, True]
    assert not_in_bin(rings, broken, 0).all()


ROWS = st.lists(
    st.tuples(st.integers(0, 2), st.integers(0, 400), st.integers(0, 2)), min_size=1, max_size=25
)


@given(rows=ROWS, held=st.lists(st.integers(1, 4), min_size=3, max_size=3))
def test_breaking_kits_is_what_a_plain_loop_does(rows, held):
    rows = [(r, day + number / 100, item) for number, (r, day, item) in enumerate(rows)]
    stock = {r: [0, 0, 0] for r in range(3)}
    expected = {}
    for number in sorted(range(len(rows)), key=lambda n: rows[n][1]):
        replicate, _, item = rows[number]
        expected[number] = stock[replicate][item] == 0
        if expected[number]:
            stock[replicate] = [have + more for have, more in zip(stock[replicate], held)]  # noqa: B905
        stock[replicate][item] -= 1
    opened = break_kits(needs(rows), np.array(held))
    assert opened.tolist() == [expected[n] for n in range(len(rows))]
    # nothing is lost: kits brought what was used and what is left
    left = np.sum(list(stock.values()), axis=0)
    used = np.bincount([row[2] for row in rows], minlength=3)
    assert (np.array(held) * opened.sum() == used + left).all()


@given(rows=ROWS, held=st.integers(0, 3))
def test_the_bin_is_what_a_plain_loop_does(rows, held):
    rows = [(r, day + number / 100, item) for number, (r, day, item) in enumerate(rows)]
    kits, rings = ([row for row in rows if (row[2] == 0) == kit] for kit in (True, False))
    if not kits or not rings:
        return
    stock, expected = dict.fromkeys(range(3), 0), {}
    for replicate, day, item in sorted(rows, key=lambda row: row[1]):
        if item == 0:
            stock[replicate] += held
        else:
            expected[replicate, day] = stock[replicate] == 0
            stock[replicate] -= not expected[replicate, day]
    rings = [(replicate, day, 0) for replicate, day, _ in rings]
    missing = not_in_bin(needs(rings), needs([(r, d, 0) for r, d, _ in kits]), held)
    assert missing.tolist() == [expected[replicate, day] for replicate, day, _ in rings]


def test_what_an_opening_takes_together_is_one_order():
    taken = needs([(0, 1, 0), (0, 1, 0), (0, 1, 1), (0, 2, 1), (1, 1, 0)])
    times, orders = count_together(taken, 3)
    assert times.tolist() == [2, 2, 0]
    assert orders == 3


# ---- what each way costs -------------------------------------------------------------------------


def item(name, cost, kind="part", **changes):
    about = {"lead_time_days": 40.0, "lead_time_high": 40.0, "min_order": 1, "superseded_by": ""}
    return Item(**({"name": name, "kind": kind, "unit_cost": cost} | about | changes))


def terms(prices=None, *, costs=None, contents=None, break_kits=False, **changes):
    prices = {"K": 100.0, "B": 30.0, "C": 10.0} | (prices or {})
    items = {name: item(name, cost, **changes.get(name, {})) for name, cost in prices.items()}
    return Terms(
        items=items,
        current={name: name for name in items},
        contents={"K": {"B": 1.0, "C": 2.0}, "J": {"C": 2.0}} if contents is None else contents,
        plant=Plant(
            name="Plant",
            currency="EUR",
            usage_unit="hours",
            records_from=DAY,
            records_to=DAY,
            raw={"costs": COSTS if costs is None else costs, "stock": {"break_kits": break_kits}},
        ),
    )


def group_of(shape=(1.0, 1.0), scale=(2000.0, 4000.0), pumps=10, **changes):
    costs = dataclasses.replace(side_costs(), opening_fault=0.0)
    settings = {"costs": costs, "count": [1, 2], "releases": np.array([True, False])} | changes
    return side_group(pumps, life_draws(shape, scale), **settings)


def ways_of(groups, practices, of=None, **changes):
    table = compare_supply(groups, practices, [()] * len(groups), of or terms(**changes), seed=3)
    return table.set_index(["kit", "way"])


DURABLE = {"shape": (5.0, 5.0), "scale": (1e9, 1e9)}


def test_planned_renewals_by_hand():
    # ten pumps, 1000 h a year, every 499 h: six kits each in three years, none fails
    rows = ways_of([group_of(**DURABLE)], [planned_at(499.0)])
    kits, parts = rows.loc[("K", KITS)], rows.loc[("K", PARTS)]
    assert kits["kits_per_year"] == pytest.approx(20.0)
    assert kits["bought_per_year"] == pytest.approx(2000.0)
    assert parts["parts_per_year"] == pytest.approx(60.0)
    assert parts["bought_per_year"] == pytest.approx(20 * (30 + 2 * 10))
    assert kits["work_per_year"] == parts["work_per_year"]
    assert (kits["waiting_per_year"], parts["waiting_per_year"]) == (0, 0)
    # loose parts cost half as much as the kit and nothing waits
    assert parts["advised"] == "yes"
    assert "less than kits only, most of it by what is bought" in parts["why"]
    rows = ways_of([group_of(**DURABLE)], [planned_at(499.0)], prices={"K": 40.0})
    assert rows.loc[("K", KITS), "advised"] == "yes"


def test_what_other_kits_wait_less_is_set_against_keeping():
    """Kit K lifts the level of C: 50 instead of 20 a year to keep, 10 instead of 30 in waiting."""
    same = {"rate": {"C": 1.0}, "times": {"C": 1.0}, "orders": 0.0, "lacking": ""}
    none = (np.zeros(0, int), np.zeros(0, int), np.zeros(0), np.zeros(0, bool))
    asked = Asked(
        demand={"C": count_takings([("MAIN", "C")], np.full((1, 10), 30.0), none, 30.0)[0]},
        supply=Supply(names=("C",), taken=needs([(0, 1, 0)]), left_over={}, work=0.0),
        **same,
    )
    room = Room(
        store="MAIN",
        members={},
        asked={kit: {MIX: asked} for kit in ("J", "K")},
        terms=terms(),
        known={
            ("C", f"J\x1f{MIX}"): PooledShelf(keeping=20.0, waiting=30.0),
            ("C", f"J\x1f{MIX}", f"K\x1f{MIX}"): PooledShelf(keeping=50.0, waiting=10.0),
        },
    )
    costs = costs_of(room, "K", MIX, {"J": MIX, "K": MIX})
    assert (costs["keeping_per_year"], costs["waiting_per_year"]) == (50 - 20 - 20, 0)
    assert sum(costs.values()) == 10.0 + 50 - 20 + 10 - 30  # the price of C, and the shelf's change


def test_pumps_that_come_or_go_count_for_the_days_that_they_run():
    # half of the pumps of the case above come after a year, the others leave after two
    ahead = UseAhead(
        knots=np.array([0.0, 365.25, 730.5]),
        share=np.array([[0.0, 1.0, 1.0]] * 5 + [[1.0, 1.0, 0.0]] * 5),
    )
    table = compare_supply(
        [group_of(**DURABLE)], [planned_at(499.0)], [()], terms(), seed=3, ahead=[ahead]
    )
    kits = table.set_index("way").loc[KITS]
    assert kits["kits_per_year"] == pytest.approx(10 * 4 / 3)  # four each in two years of three


def test_a_dear_kit_is_worth_more_than_the_loose_part_at_failures():
    rows = ways_of([group_of()], [run_to_failure(0.0)])
    mix, kits = rows.loc[("K", MIX)], rows.loc[("K", KITS)]
    # memoryless: B five times a year, C five times (two of them), each alone
    assert mix["kits_per_year"] == 0
    assert mix["parts_per_year"] == pytest.approx(10.0, rel=0.05)
    assert mix["bought_per_year"] == pytest.approx(5 * 30 + 5 * 10, rel=0.06)
    assert kits["kits_per_year"] == pytest.approx(10.0, rel=0.05)
    assert kits["keeps_practice"] == "no"
    assert "renews the whole side at a failure, which the rebuild advice doesn't" in kits["why"]
    assert mix["advised"] == "yes"
    assert (("K", BROKEN) in rows.index) is False


def test_a_broken_kit_leaves_its_rest():
    rows = ways_of([group_of()], [run_to_failure(0.0)], break_kits=True)
    broken, mix = rows.loc[("K", BROKEN)], rows.loc[("K", MIX)]
    # what failed, from the same futures: B at 30 and C at 10 each
    failed_b = (mix["bought_per_year"] - 10 * mix["parts_per_year"]) / 20
    failed_c = mix["parts_per_year"] - failed_b
    # each kit brings one B: about as many kits as B fail, some more where C ran short
    assert failed_b <= broken["kits_per_year"] < 1.1 * failed_b
    assert broken["parts_per_year"] == 0
    # what kits brought and nobody used stays in the bin
    kits = broken["kits_per_year"]
    left = 10 * (2 * kits - failed_c) + 30 * (kits - failed_b)
    assert broken["left_over_per_year"] == pytest.approx(left)
    assert mix["advised"] == "yes"
    cheap = ways_of([group_of()], [run_to_failure(0.0)], prices={"K": 1.0}, break_kits=True)
    assert cheap.loc[("K", BROKEN), "advised"] == "yes"
    assert "still counts kits" in cheap.loc[("K", BROKEN), "why"]


def test_a_cheaper_way_against_the_rebuild_advice_is_told_not_advised():
    rows = ways_of([group_of()], [run_to_failure(1.0)])
    assert rows.loc[("K", KITS), "advised"] == "yes" or rows.loc[("K", PARTS), "advised"] == "yes"
    assert rows.loc[("K", MIX), "advised"] == ""
    assert "a year less, but renews the failed part alone" in rows.loc[("K", MIX), "why"]


@pytest.mark.parametrize("lacking", [{"lead_time_days": np.nan}, {"unit_cost": np.nan}])
def test_a_part_without_its_terms_withholds_the_ways_that_need_it(lacking):
    bare = terms()
    bare.items["C"] = dataclasses.replace(bare.items["C"], **lacking)
    rows = ways_of([group_of(**DURABLE)], [planned_at(499.0)], of=bare)
    assert np.isnan(rows.loc[("K", PARTS), "money_per_year"])
    assert rows.loc[("K", PARTS), "why"].startswith("C has no")
    assert rows.loc[("K", KITS), "advised"] == "yes"


def test_a_kit_without_contents_is_not_made_of_parts():
    rows = ways_of([group_of(**DURABLE)], [planned_at(499.0)], contents={})
    assert "what K holds isn't known" in rows.loc[("K", PARTS), "why"]


def test_costs_not_given_leave_money_blank():
    rows = ways_of([group_of()], [planned_at(499.0)], costs={"order": 5.0})
    assert rows["money_per_year"].isna().all()
    assert (rows["advised"] == "").all()
    assert (rows["why"] == "[costs] holding_per_year and waiting_per_day not given").all()


def test_common_parts_of_two_kits_share_a_shelf():
    first, second = group_of(), group_of(kit="J", first=10, part_no=("B", "C"))
    prices = {"K": 1e4, "J": 1e4, "B": 500.0, "C": 500.0}
    both = ways_of([first, second], [run_to_failure(0.0)] * 2, prices=prices)
    alone = ways_of([first], [run_to_failure(0.0)], prices=prices)
    cost = ["keeping_per_year", "waiting_per_year"]
    # as many pumps more on the same shelf: cheaper to keep for than on a shelf of their own
    assert both.loc[("J", MIX), cost].sum() < 0.8 * alone.loc[("K", MIX), cost].sum()
    assert both.loc[("K", MIX), "to_stock"] == both.loc[("J", MIX), "to_stock"]


def test_the_order_of_groups_changes_nothing_but_luck():
    groups = [group_of(), group_of(kit="J", first=10, part_no=("B", "C"))]
    ways = [planned_at(700.0), planned_at(900.0)]
    one = ways_of(groups, ways, prices={"J": 80.0})
    again = ways_of(groups, ways, prices={"J": 80.0})
    pd.testing.assert_frame_equal(one, again)
    assert set(one.index.get_level_values("way")) == set(WAYS) - {BROKEN}


def test_today_follows_the_tickets():
    group = group_of(kit_share=0.5)
    rows = ways_of([group], [run_to_failure(1.0)])
    today = rows.loc[("K", TODAY)]
    assert today["kits_per_year"] == pytest.approx(5.0, rel=0.07)
    assert today["parts_per_year"] == pytest.approx(5.0, rel=0.07)


def test_prices_scale_what_is_bought():
    one, ten = (
        ways_of([group_of()], [planned_at(800.0)], prices={"K": k, "B": 0.3 * k, "C": 0.1 * k})
        for k in (100.0, 1000.0)
    )
    np.testing.assert_allclose(ten["bought_per_year"], 10 * one["bought_per_year"])
    np.testing.assert_allclose(ten["work_per_year"], one["work_per_year"])


def test_demands_add_up_future_by_future():
    rng = np.random.default_rng(4)
    parts = [
        (np.zeros(n, int), rng.integers(0, 50, n), rng.uniform(0, 400, n), rng.random(n) < 0.3)
        for n in (60, 90)
    ]
    every = [*parts, tuple(np.concatenate(pair) for pair in zip(*parts, strict=True))]
    one, two, joined = (
        count_takings([("MAIN", "K")], np.full((1, 50), 40.0), taken, 30.0)[0] for taken in every
    )
    both = add_demands([one, two])
    assert (both.year == joined.year).all()
    assert (both.spans[2] == joined.spans[2]).all()
    assert both.planned_per_year == pytest.approx(joined.planned_per_year)
    assert mean_of(both.counted().spans[0]) == pytest.approx(joined.spans[0].mean())


# ---- in the plan ---------------------------------------------------------------------------------


def test_the_plan_compares_ways_for_the_small_plant(tmp_path):
    plan = plan_stock(*steps(tmp_path), seed=1)
    ways = plan.kit_or_parts
    assert ways["store"].unique().tolist() == ["works"]
    assert ways["way"].tolist() == [way for way in WAYS if way != BROKEN]
    assert (ways["advised"] == "yes").sum() == 1
    # a kit of 200 against two diaphragms, four balls and four seats at 228
    bought = ways.set_index("way")["bought_per_year"]
    kits = ways.set_index("way")["kits_per_year"]
    assert bought[KITS] == pytest.approx(200 * kits[KITS])
    assert bought[PARTS] == pytest.approx(228 * kits[KITS])


def test_breaking_kits_is_a_setting(tmp_path):
    said = SETTINGS + "\n[stock]\nbreak_kits = true\n"
    assert may_break_kits(read_records(small_plant(tmp_path, plant_toml=said)).plant.raw)
    plan = plan_stock(*steps(tmp_path, plant_toml=said), seed=1)
    assert BROKEN in set(plan.kit_or_parts["way"])
    wrong = SETTINGS + '\n[stock]\nbreak_kits = "yes"\n'
    with pytest.raises(SettingError, match="break_kits = 'yes' must be true or false"):
        read_records(small_plant(tmp_path, plant_toml=wrong))
