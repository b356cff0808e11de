"""Work at stops and on the bench: every choice tried, limits held, what is said in the audit."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array

from pumplife.policy.load import monday_of
from pumplife.policy.outage import fill_stop
from pumplife.policy.spread import hours_worked, place_work, spread_work
from tests.plants import SETTINGS, on_day, pump_rows
from tests.policy.test_advice import advised, rules


def hours_of(chosen, hours, pump, saved):
    both = [p for p in np.unique(pump) if (chosen & (pump == p)).sum() == 2]
    return hours[chosen].sum() - sum(saved[pump == p][0] for p in both)


def best_by_trying(gain, hours, pump, saved, room):
    every = (np.array(one, bool) for one in product([0, 1], repeat=gain.size))
    return max(gain[one].sum() for one in every if hours_of(one, hours, pump, saved) <= room)


@pytest.mark.parametrize("seed", range(6))
def test_a_stop_is_filled_as_well_as_any_choice_would(seed):
    rng = np.random.default_rng(seed)
    gain, hours = rng.uniform(5, 300, 11), rng.choice([1.5, 3.0, 4.5], 11)
    pump = np.array([0, 0, 1, 1, 2, 2, 3, 4, 5, 6, 7])
    saved = np.where(pump < 3, 1.0, 0.0)
    room = float(rng.uniform(5, 20))
    chosen = fill_stop(gain, hours, pump, saved, room=room)
    assert hours_of(chosen, hours, pump, saved) <= room + 1e-6
    best = best_by_trying(gain, hours, pump, saved, room)
    assert best * (1 - 1e-4) <= gain[chosen].sum() <= best * (1 + 1e-9)


def test_very_much_work_at_a_stop_misses_less_than_one_piece():
    rng = np.random.default_rng(3)
    gain, hours = rng.uniform(5, 300, 700), rng.choice([1.5, 3.0, 4.5], 700)
    chosen = fill_stop(gain, hours, np.arange(700), np.zeros(700), room=400.0)
    assert hours[chosen].sum() <= 400.0
    order = np.argsort(-gain / hours)
    part = np.clip((400.0 - np.cumsum(hours[order]) + hours[order]) / hours[order], 0.0, 1.0)
    assert gain[chosen].sum() > (part * gain[order]).sum() - gain.max()


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), more=st.floats(0.0, 10.0))
def test_a_stop_with_more_hours_never_gains_less(seed, more):
    rng = np.random.default_rng(seed)
    gain, hours, pump = rng.uniform(5, 300, 10), rng.choice([1.5, 3.0], 10), np.arange(10) // 2
    saved = np.full(10, 0.5)
    small, big = (
        gain[fill_stop(gain, hours, pump, saved, room=room)].sum() for room in (8.0, 8.0 + more)
    )
    assert big >= small * (1 - 1e-4)


RUNS_ON = np.ones(60, bool)


def weeks_of(hours, room, cost=None, wanted=None):
    """Weeks in which pieces begin that all want the first one, the first piece most."""
    weeks = np.arange(len(room))
    urgency = np.arange(len(hours), 0.0, -1.0)[:, None] * np.asarray(hours)[:, None]
    cost = urgency * weeks if cost is None else cost
    return spread_work(cost, np.asarray(hours, float), np.asarray(room, float), RUNS_ON[weeks])


def test_a_piece_runs_on_into_the_next_week():
    """5.4 h a week are 27 h in five weeks: seven pieces of 3.8 h, not five."""
    week = weeks_of([3.8] * 7, [5.4] * 5)
    assert week.tolist() == [0, 0, 1, 2, 2, 3, 4]
    worked = hours_worked(week, np.full(7, 3.8), np.full(5, 5.4), RUNS_ON[:5])
    assert worked == pytest.approx([5.4, 5.4, 5.4, 5.4, 5.0])


def test_a_week_that_is_just_full_begins_nothing_more():
    assert weeks_of([3.0] * 4, [6.0] * 2).tolist() == [0, 0, 1, 1]


def test_a_piece_longer_than_a_week_takes_the_weeks_that_it_needs():
    """10 h at 4 h a week: two and a half weeks each."""
    week = weeks_of([10.0, 10.0], [4.0] * 6)
    assert week.tolist() == [0, 2]
    worked = hours_worked(week, np.full(2, 10.0), np.full(6, 4.0), RUNS_ON[:6])
    assert worked == pytest.approx([4, 4, 4, 4, 4, 0])


def test_hours_that_nobody_used_are_not_saved_up():
    """Work of the third week finds its 4 h, not the 12 h that have passed."""
    cost = np.where(np.arange(6) < 2, np.inf, np.arange(6.0)) * np.array([[3.0], [2.0], [1.0]])
    assert weeks_of([4.0] * 3, [4.0] * 6, cost).tolist() == [2, 3, 4]


def test_nothing_begins_where_a_week_has_no_hours():
    assert weeks_of([3.0] * 2, [0.0, 3.0, 0.0]).tolist() == [1, -1]


def test_an_outage_holds_whole_pieces():
    week = spread_work(np.zeros((3, 1)), np.full(3, 3.8), np.array([8.0]), np.array([False]))
    assert (week == 0).sum() == 2


def waits(rng, rows, weeks):
    """Costs that rise with the wait, from nothing in the week wanted."""
    want = rng.integers(0, 3, rows)[:, None]
    late = np.maximum(np.arange(weeks) - want, 0.0)
    cost = rng.uniform(5, 100, (rows, 1)) * late ** rng.uniform(0.9, 1.3, (rows, 1))
    return np.where(np.arange(weeks) < want, np.inf, cost)


def begins_in_time(week, hours, room):
    """Whether every piece begins in its week, the longest of a week last: week by week."""
    left_over = 0.0
    for place, free in enumerate(room):
        own = np.sort(hours[week == place])
        if own.size and left_over + own[:-1].sum() >= free - 1e-9:
            return False
        left_over = max(left_over + own.sum() - free, 0.0)
    return True


def whole_weeks_cost(cost, hours, room):
    """The cheapest spread where no piece runs on, by branch and cut."""
    rows, weeks = cost.shape
    one = np.kron(np.eye(rows), np.ones(weeks))
    load = np.kron(hours, np.eye(weeks))
    allowed = np.isfinite(cost).ravel()
    found = milp(
        np.where(allowed, cost.ravel(), 0.0),
        constraints=[LinearConstraint(one, 1, 1), LinearConstraint(load, -np.inf, room)],
        integrality=np.ones(rows * weeks),
        bounds=Bounds(0.0, allowed.astype(float)),
    )
    return float(found.fun)


def best_of_all(cost, hours, room):
    """The cheapest way by trying every one."""
    rows = np.arange(hours.size)
    ways = (np.array(way) for way in product(*(np.flatnonzero(np.isfinite(row)) for row in cost)))
    return min(cost[rows, way].sum() for way in ways if begins_in_time(way, hours, room))


@pytest.mark.parametrize("seed", range(5))
def test_work_spread_over_weeks_is_cheaper_than_whole_weeks_could_be(seed):
    rng = np.random.default_rng(seed)
    cost, hours = waits(rng, 20, 14), rng.choice([1.5, 3.0], 20)
    room = np.full(14, 6.0)
    week = spread_work(cost, hours, room, RUNS_ON[:14])
    assert (week >= 0).all()
    assert begins_in_time(week, hours, room)
    assert cost[np.arange(20), week].sum() < whole_weeks_cost(cost, hours, room)


def test_work_spread_over_weeks_is_near_the_cheapest_way():
    paid, least = [], []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        cost, hours = waits(rng, 5, 5), rng.choice([1.5, 3.0, 3.8], 5)
        room = np.full(5, 4.5)
        week = spread_work(cost, hours, room, RUNS_ON[:5])
        assert begins_in_time(week, hours, room)
        least.append(best_of_all(cost, hours, room))
        paid.append(cost[np.arange(5), week].sum())
    assert (np.array(paid) > np.array(least) - 1e-9).all()
    assert sum(paid) < 1.06 * sum(least)


def test_very_much_work_costs_no_more_than_if_pieces_could_be_cut_up():
    """Pieces cut up at will, each hour paid by its week, by linear programming."""
    rng = np.random.default_rng(9)
    cost, hours = waits(rng, 300, 14), rng.choice([1.5, 3.0], 300)
    room = np.full(14, 60.0)
    week = spread_work(cost, hours, room, RUNS_ON[:14])
    assert begins_in_time(week, hours, room)
    row, slot = np.nonzero(np.isfinite(cost))
    each = np.arange(row.size)
    cut = linprog(
        cost[row, slot],
        A_ub=csr_array((hours[row], (slot, each))), b_ub=room,
        A_eq=csr_array((np.ones(row.size), (row, each))), b_eq=np.ones(300),
    )  # fmt: skip
    assert cost[np.arange(300), week].sum() < 1.01 * cut.fun


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), room=st.floats(0.5, 12.0))
def test_hours_are_worked_once_and_no_week_beyond_what_it_has(seed, room):
    rng = np.random.default_rng(seed)
    cost, hours, rooms = waits(rng, 12, 20), rng.uniform(0.5, 9.0, 12), np.full(20, room)
    hard = rng.random(12) < 0.3
    place, forced, worked = place_work(cost, hours, rooms, hard, RUNS_ON[:20])
    extra = np.bincount(place[forced], hours[forced], 20)
    assert (worked <= rooms + extra + 1e-9).all()
    placed = hours[place >= 0].sum()
    assert worked.sum() <= placed + 1e-9
    last = place.max() + int(np.ceil(placed / room)) + 1
    if last < 20:
        assert worked.sum() == pytest.approx(placed)


def test_what_can_t_wait_comes_first_and_is_forced_only_where_it_must_be():
    cost = np.zeros((4, 3))
    cost[:, 1:] = [1.0, 2.0]
    hard = np.array([True, True, True, False])
    cost[:2, 1:] = np.inf  # only the first week
    cost[2, 2] = np.inf
    hours, room = np.full(4, 3.0), np.full(3, 3.0)
    place, forced, worked = place_work(cost, hours, room, hard, RUNS_ON[:3])
    assert sorted(place[:2]) == [0, 0]
    assert forced.tolist().count(True) == 1
    assert place[2] == 1
    assert place[3] == 2
    assert worked == pytest.approx([6.0, 3.0, 3.0])


def test_weeks_begin_on_mondays():
    days = np.arange(18_000, 18_030)
    for day in days:
        monday = pd.Timestamp(0) + pd.Timedelta(days=monday_of(float(day)))
        assert monday.dayofweek == 0
        assert 0 <= day - monday_of(float(day)) < 7


def many_pumps(count=9):
    """Pumps like the third of the small plant, all far beyond any interval."""
    first = pump_rows()[0]
    return [first | {"pump_id": f"P-{n}", "commissioned_on": on_day(0)} for n in range(1, count)]


KITS = [{"store": "works", "item": "FK", "quantity": 20}]


def test_overdue_pumps_are_spread_over_the_weeks_within_the_bench(tmp_path):
    text = SETTINGS + "\n[calendar]\nbench_hours_per_week = 9\n"
    records, advice = advised(tmp_path, plant_toml=text, pumps=many_pumps(), on_hand=KITS)
    load, due = advice.load, advice.due
    assert (load["over_by"] == 0.0).all()
    planned = due[due["do_on"].notna()]
    assert load["hours_planned"].sum() == pytest.approx(3.0 * len(planned))
    assert load["sides"].sum() == len(planned)
    overdue = due[due["overdue_by"] > 0]
    assert len(set(overdue["do_on"])) > 1
    moved = overdue[overdue["do_on"] > overdue["due_on"]]
    assert moved["moved_because"].str.startswith("the bench is full").all()
    assert not {"bench_default", "bench_full"} & rules(records)


def test_a_limit_passes_the_bench_and_says_so(tmp_path):
    text = SETTINGS + "\n[calendar]\nbench_hours_per_week = 4\n"
    pumps = [row | {"max_fluid_interval": 1500} for row in many_pumps()]
    _, advice = advised(tmp_path, plant_toml=text, pumps=pumps, on_hand=KITS)
    late = advice.due[advice.due["overdue_by"] > 0]
    assert (late["do_on"] == late["due_on"]).all()
    crowded = advice.load[advice.load["over_by"] > 0]
    assert crowded["note"].str.contains("a limit doesn't let wait").any()


def test_a_limit_that_no_kit_comes_in_time_for_is_said(tmp_path):
    pumps = [row | {"max_fluid_interval": 1500} for row in pump_rows()]
    _, advice = advised(tmp_path, pumps=pumps)
    due = advice.due.set_index("pump_id")
    passed = due["do_on"] > due["due_on"]
    assert passed.any()
    assert due.loc[passed, "moved_because"].str.endswith("its limit is reached before").all()
    assert not due.loc[~passed, "moved_because"].str.contains("limit").any()


def test_hours_of_the_bench_come_from_the_busiest_quarter(tmp_path):
    tickets = [
        {"rebuild_id": f"R-{n}", "pump_id": "P-1", "opened_on": on_day(100 + n), "labour_h": 6.5,
         "reason": "planned", "kit": "FK", "failed_part": "none"}
        for n in (0, 40, 80, 300)
    ]  # fmt: skip
    records, advice = advised(tmp_path, rebuilds=tickets, findings=None)
    assert set(advice.load["limit"].round(9)) == {1.5}  # three tickets of 6.5 h in 13 weeks
    assert "bench_default" in rules(records)


def test_no_hours_anywhere_leave_the_dates_alone(tmp_path):
    records, advice = advised(tmp_path, pumps=many_pumps(), on_hand=KITS)
    assert "bench_unknown" in rules(records)
    assert advice.load["limit"].isna().all()
    planned = advice.due[advice.due["do_on"].notna()]
    assert (planned["do_on"] == planned["due_on"]).all()


def test_a_bench_too_small_for_its_work_is_told(tmp_path):
    text = SETTINGS + "\n[calendar]\nbench_hours_per_week = 1\n"
    supply = [{"store": "works", "item": "FK", "quantity": 99}]
    records, advice = advised(tmp_path, plant_toml=text, pumps=many_pumps(80), on_hand=supply)
    assert "bench_full" in rules(records)
    assert advice.due["moved_because"].eq("the bench has no room for it within a year").any()


def test_a_stop_takes_what_gains_most_and_says_why_it_leaves_the_rest(tmp_path):
    stop = f"\n[calendar]\nbench_hours_per_week = 40\noutages = [{{ on = {on_day(737)}, "
    records, advice = advised(
        tmp_path, plant_toml=f"{SETTINGS}{stop}bench_hours = 6 }}]\n", pumps=many_pumps(),
        on_hand=KITS,
    )  # fmt: skip
    outage = advice.outage
    done = outage[outage["do"] == "rebuild"]
    assert len(done) == 2
    assert done["hours"].sum() == pytest.approx(6.0)
    assert (done["gain"] > 0).all()
    full = outage[outage["reason"].str.startswith("the hours of the outage")]
    assert (full["gain"] <= done["gain"].min() + 1e-9).all()
    at_stop = advice.due[advice.due["outage_on"].notna()]
    assert set(at_stop["pump_id"]) == set(done["pump_id"])
    assert "stop_hours" not in rules(records)


def test_a_stop_before_the_kit_leaves_the_pump(tmp_path):
    text = f"{SETTINGS}\n[calendar]\noutages = [{on_day(737)}]\n"
    records, advice = advised(tmp_path, plant_toml=text, on_hand=None, on_order=None)
    assert advice.outage["do"].eq("leave").all()
    assert advice.outage["reason"].str.startswith("its kit can't be there before").any()
    assert "stop_hours" in rules(records)


def test_a_pump_without_a_rate_of_its_own_is_named(tmp_path):
    pumps = pump_rows()
    pumps[2] |= {"use_per_week": ""}
    records, _ = advised(tmp_path, pumps=pumps)
    log = records.log.frame()
    assert log.loc[log["rule"] == "rate_borrowed", "pump_id"].tolist() == ["P-3"]


def test_intervals_hold_round_calendar_and_common_values(tmp_path):
    _, advice = advised(tmp_path)
    row = advice.intervals.loc[0]
    assert row["near_best_low"] <= row["round_interval"] <= row["near_best_high"]
    assert 0.0 <= row["cost_of_rounding"] <= 0.01 * row["cost_rate"] * row["usage_per_year"] / 1e3
    # all run seventy hours a week, always: the calendar costs no more than whole weeks do
    assert row["calendar_weeks"] == pytest.approx(row["interval"] / 70.0, abs=1.0)
    assert -1e-6 <= row["cost_of_calendar"] <= 0.002 * row["cost_rate"] * row["usage_per_year"]
    assert advice.few["chosen"].eq("yes").sum() == 1
    last = advice.few.iloc[-1]
    assert last["share"] == pytest.approx(
        last["extra_per_year"] / (last["cost"] - last["extra_per_year"])
    )
