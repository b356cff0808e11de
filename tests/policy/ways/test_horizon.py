"""The years ahead of every way of working: by hand, without memory, and in the long run."""

from dataclasses import replace

import numpy as np
import pytest

from pumplife.policy.advice import advise
from pumplife.policy.decide import FAILED_PART, RUN_TO_FAILURE
from pumplife.policy.ways.alone import (
    CALENDAR,
    CALENDAR_PART,
    OUTAGES,
    closed_ways,
    inspection_way,
    open_scope,
)
from pumplife.policy.ways.both_sides import TOGETHER
from pumplife.policy.ways.horizon import YEARS, look_ahead
from pumplife.policy.ways.inspection import INSPECTION
from pumplife.policy.ways.kit_when_worn import KIT_WHEN_WORN
from pumplife.policy.ways.older import OLDER
from pumplife.policy.ways.table import compare_ways
from tests.plants import SETTINGS, part_rows, small_plant, small_tables
from tests.policy.sides import slip_fits, study_parts
from tests.policy.ways.test_table import both_sides

LOOKS = "\n[inspection]\ndelay_share = { ball = 0.2, diaphragm = 0.2, seat = 0.2 }\n"
LOOKS += "detection = 1.0\nlabour_h = 0.1\n"
OUTAGE_DAYS = "\n[calendar]\noutages = [2022-01-10, 2022-07-11, 2023-01-09]\n"


def scope_of(folder, fits, **overrides):
    """The fluid side of the small plant and its ways that have a closed form."""
    parts = study_parts(small_plant(folder, **overrides))
    advice = advise(*parts, fits)
    scope = open_scope(parts[0].plant, advice.groups[0], advice.decisions[0])
    return scope, {way.policy: way for way in closed_ways(scope.group, scope.decision)}


def one_diaphragm(folder, shape, settings=""):
    """One diaphragm a side and three pumps of 10 hours a day; its scale is 6,000 hours."""
    contents = [row | {"quantity": 1} for row in small_tables()["kit_contents"][:1]]
    return scope_of(
        folder,
        slip_fits(shape=[[shape], [2.6], [2.4]]),
        kit_contents=contents,
        parts=[part_rows()[0] | {"per_pump": 1}],
        plant_toml=SETTINGS + settings,
    )


def aged(scope, age, clock):
    """The scope with known ages of its three pumps."""
    size = scope.group.age.shape
    group = replace(
        scope.group,
        age=np.broadcast_to(np.array(age, float)[:, None], size).copy(),
        known=np.ones(size, bool),
        clock_age=np.array(clock, float),
    )
    return replace(scope, group=group)


def test_lives_without_memory_cost_the_same_whatever_the_ages(tmp_path):
    scope, ways = scope_of(tmp_path, slip_fits(shape=1.0, scale=[[600.0], [900.0], [1200.0]]))
    usage = 3 * 10 * 365.25
    rates = np.array([2.0, 4.0, 4.0]) / np.array([600.0, 900.0, 1200.0])
    costs = scope.decision.costs
    for policy, money in ((RUN_TO_FAILURE, costs.failure_money), (FAILED_PART, costs.part_money)):
        ahead = look_ahead(scope, ways[policy])
        assert ahead.mean == pytest.approx(YEARS * usage * rates @ money, abs=4.0 * ahead.error)
        assert ahead.failures == pytest.approx(YEARS * usage * rates.sum(), rel=0.02)
        assert ahead.releases == pytest.approx(YEARS * usage * rates[0], rel=0.04)


def test_signs_that_are_there_today_are_found_by_hand(tmp_path):
    """Nearly fixed lives of 6,000 h, the last fifth showing, looks every 1,000 h, 10,957 h ahead.

    New: found at 5,000 and 10,000, in 10 looks.  Aged 4,900, 100 past its sign: found at 100,
    then at 5,100 and 10,100, in 11 looks.  Aged 5,850 with the next look in 550: it fails before,
    is found at 5,550 and 10,550, in 11 looks.
    """
    scope, _ = one_diaphragm(tmp_path, 400.0, LOOKS)
    scope = aged(scope, [0.0, 4900.0, 5850.0], [0.0, 4900.0, 5450.0])
    way = replace(inspection_way(scope), interval=1000.0)
    ahead = look_ahead(scope, way)
    costs = scope.decision.costs
    mended = 60.0 + 50.0 * costs.planned.labour_h + 100.0 * costs.planned.downtime_h
    fixed = costs.planned.cash - costs.kit_price
    paid = 32 * 0.1 * 50.0 + 7 * (mended + fixed) + costs.part_money
    assert ahead.mean == pytest.approx(paid.item(), rel=1e-9)
    assert (ahead.failures, ahead.releases, ahead.kits) == (1.0, 1.0, 0.0)
    hours = 7 * costs.planned.downtime_h + costs.part_failure.downtime_h
    assert ahead.downtime_h == pytest.approx(hours.item())
    assert ahead.error == pytest.approx(0.0, abs=1e-9)


def test_planned_kits_from_todays_ages_by_hand(tmp_path):
    """Planned at 4,000 h where nothing fails before 6,000: the first as soon as its age is due."""
    scope, ways = one_diaphragm(tmp_path, 400.0)
    scope = aged(scope, [0.0, 3900.0, 4500.0], [0.0, 3900.0, 4500.0])
    ahead = look_ahead(scope, replace(ways["planned kit"], interval=4000.0))
    kits = 2 + 3 + 3  # 4,000 and 8,000; 100, 4,100, 8,100; 0, 4,000, 8,000
    assert (ahead.kits, ahead.failures) == (kits, 0.0)
    assert ahead.mean == pytest.approx(kits * scope.decision.costs.planned_money)


@pytest.mark.parametrize(
    ("every", "clock", "air_kits"),
    [
        (1, 0.0, 10),
        (2, 0.0, 5),
        (3, 0.0, 3),  # at the third, sixth and ninth fluid rebuild
        (3, 2500.0, 4),  # two have been since: at the first, fourth, seventh and tenth
        (3, 9e9, 4),
    ],
)
def test_air_kits_go_along_with_fluid_rebuilds_by_hand(tmp_path, every, clock, air_kits):
    """Fluid rebuilt every 1,000 h from new, nothing ever fails, no air kit by its own advice."""
    fluid, air, way, _ = sides_of(tmp_path, slip_fits(scale=1e9))
    fluid = aged(fluid, [0.0, 0.0, 0.0], [0.0, 0.0, 0.0])
    air = replace(
        aged(air, [0.0, 0.0, 0.0], [clock, clock, clock]),
        decision=replace(air.decision, interval=np.inf, kit_share=1.0),
    )
    air = replace(air, group=replace(air.group, lives=fluid.group.lives[:1]))
    ahead = look_ahead(fluid, replace(way, interval=1000.0, every=float(every)), air)
    assert ahead.kits == pytest.approx(3 * (10 + air_kits))
    own, alone = fluid.decision.costs, air.decision.costs
    extra = alone.planned.cash + 50.0 * alone.planned.labour_h  # the longer downtime is the fluid's
    paid = 3 * (10 * own.planned_money + air_kits * extra.item())
    assert ahead.mean == pytest.approx(paid)
    assert ahead.failures == 0.0


def sides_of(folder, fits=None, more=""):
    """Scopes of both sides, the best way of working them together, and all ways of the fluid."""
    _, advice = both_sides(folder, more=more, known=fits)
    plant = study_parts(folder)[0].plant
    ways = compare_ways(plant, advice.groups, advice.decisions)
    scopes, found = {}, {}
    for number, group in enumerate(advice.groups):
        scopes[group.side] = open_scope(plant, group, advice.decisions[number])
        found[group.side] = {way.policy: way for way in ways[number]}
    return scopes["fluid"], scopes["air"], found["fluid"][TOGETHER], found["fluid"]


def test_many_years_ahead_are_the_long_run_for_every_way(tmp_path):
    """Lives far shorter than 25 years, all parts new, no discount.

    Looks beat in step with parts that were renewed at one, where the model takes signs as even
    between looks: failures of short lives come out 6 % apart, their money hardly.
    """
    fits = slip_fits(scale=[[1200.0], [1800.0], [2400.0]])
    fluid, air, _, ways = sides_of(tmp_path, fits, LOOKS + OUTAGE_DAYS)
    new = [0.0, 0.0, 0.0]
    fluid, air = aged(fluid, new, new), aged(air, new, new)
    usage, years = float(fluid.group.usage_per_year.sum()), 25.0
    assert {INSPECTION, KIT_WHEN_WORN, TOGETHER, OUTAGES, OLDER, CALENDAR} <= ways.keys()
    for way in ways.values():
        ahead = look_ahead(fluid, way, air, years)
        cost, failures = usage * float(way.costs.money.mean()), usage * float(way.failures.mean())
        error = 4.0 * np.hypot(ahead.error / years, usage * way.error)
        assert ahead.mean / years == pytest.approx(cost, abs=error + 0.01 * cost), way.policy
        seen = max(200.0 * ahead.failures, 1.0)  # over all futures
        apart = 0.01 + 0.07 * (way.policy == INSPECTION) + error / cost + 4.0 / np.sqrt(seen)
        assert ahead.failures / years == pytest.approx(failures, rel=apart), way.policy
        downtime = usage * float(way.costs.downtime_h.mean())
        assert ahead.downtime_h / years == pytest.approx(downtime, rel=apart), way.policy


def test_every_way_with_a_cost_rate_has_its_years_ahead(tmp_path):
    table, _ = both_sides(tmp_path, more=LOOKS + OUTAGE_DAYS)
    names = ["cost_3_years", "availability_3_years", "failures_3_years", "kits_3_years"]
    assert table[["cost_rate", *names, "spills_3_years"]].notna().all().all()
    assert (table["cost_3_years_error"] < 0.2 * table["cost_3_years"]).all()
    assert table.loc[CALENDAR_PART, "kits_3_years"] >= 0.0
