"""Shocks as bursts of demand: what past ones took, how often they come again."""

import numpy as np
import pytest

from pumplife.fits.build import fit_lives
from pumplife.lives.build import build_lives
from pumplife.policy.advice import advise
from pumplife.policy.ahead import UseAhead
from pumplife.records.duty import build_duty
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock
from pumplife.stock.shelf import plan_stock
from pumplife.stock.shocks import Shocks, draw_bursts
from tests.plants import on_day, rebuild_rows, small_plant
from tests.stock.fleets import lives, run_to_failure, side_group, simulate_demand


def shocks(count=2, years=5.0, rows=((0, 0, 0, -1, 1), (0, 0, 1, -1, 1), (1, 0, 2, 0, 2))):
    """Two shocks: one took the kits of pumps 0 and 1, one two loose parts of pump 2."""
    shock, group, pump, part, pieces = (np.array(column) for column in zip(*rows, strict=True))
    each = dict.fromkeys(zip(shock, group, pump, strict=True))
    opening = np.array([list(each).index(key) for key in zip(shock, group, pump, strict=True)])
    return Shocks(
        count=count, years=years, shock=shock, opening=opening, group=group, pump=pump, part=part,
        pieces=pieces,
    )  # fmt: skip


def draw(past, kit_share=0.0, **changes):
    settings = {"days": 3652.5, "replicates": 20_000, "rng": np.random.default_rng(2)} | changes
    return draw_bursts(past, [run_to_failure(kit_share)] * 2, **settings)


def test_shocks_come_as_often_as_they_came_with_the_doubt_of_so_few():
    burst = draw(shocks())
    # Jeffreys: (2 + 1/2) / 5 a year for ten years, half of them the first shock: two kits
    kits = np.bincount(burst.replicate[burst.item == 0], minlength=20_000)
    assert kits.mean() == pytest.approx(2.5 / 5 * 10 / 2 * 2, rel=0.03)
    assert set(np.unique(kits) % 2) == {0}  # both at once
    # one shock each, times two: E N = 2.5, Var N = 2.5 + doubt (E N)² / 2.5
    assert kits.var() == pytest.approx(4 * (2.5 + 2.5), rel=0.08)
    both = burst.day[burst.item == 0].reshape(-1, 2)
    assert (both[:, 0] == both[:, 1]).all()


def test_loose_parts_are_taken_one_by_one_unless_the_kit_is_fitted():
    loose, kit = draw(shocks()), draw(shocks(), kit_share=1.0)
    assert (loose.pump == 2).sum() == (loose.item == 1).sum() > 0
    assert (kit.item == 0).all()
    assert (kit.pump == 2).sum() == pytest.approx((loose.pump == 2).sum() / 2, rel=0.05)


def test_a_breakdown_of_two_parts_takes_one_kit_or_both_parts():
    past = shocks(count=1, rows=((0, 0, 0, 0, 1), (0, 0, 0, 1, 2)))
    whole, apart = draw(past, kit_share=1.0), draw(past, kit_share=0.0)
    assert (whole.item == 0).all()
    assert len(apart.day) == 3 * len(whole.day)
    assert np.bincount(apart.item).tolist() == [0, len(whole.day), 2 * len(whole.day)]
    mixed = draw(past, kit_share=0.5)
    kits = np.bincount(mixed.item, minlength=3)
    assert 2 * kits[1] == kits[2]
    assert kits[0] == pytest.approx(len(whole.day) / 2, rel=0.05)


def test_a_shock_passes_by_pumps_that_have_gone():
    share = np.ones((3, 2))
    share[1, 1] = 0.0
    gone = UseAhead(knots=np.array([0.0, 1000.0]), share=share)
    burst = draw(shocks(), ahead=[gone, None])
    assert burst.day[(burst.pump == 1) & (burst.group == 0)].max() < 1000.0
    assert burst.day[burst.pump == 0].max() > 3000.0


def test_a_shock_on_pumps_that_are_gone_takes_nothing():
    gone = shocks(count=4)
    assert len(draw(gone).day) == pytest.approx(len(draw(shocks()).day) * 0.5 * 4.5 / 2.5, rel=0.05)


def test_pumps_that_share_a_cause_ask_together():
    group = side_group(10, lives([5.0], [1e9]))
    (quiet,) = simulate_demand([group], [run_to_failure()], {"K": (60.0, 60.0)}, review_days=30.0,
                               replicates=4000, seed=1)  # fmt: skip
    past = shocks(count=4, years=8.0, rows=[(n // 5, 0, n, -1, 1) for n in range(10)])
    (struck,) = simulate_demand([group], [run_to_failure()], {"K": (60.0, 60.0)}, review_days=30.0,
                                replicates=4000, seed=1, shocks=past)  # fmt: skip
    assert quiet.year.max() == 0
    assert set(np.unique(struck.year) % 5) == {0}
    assert struck.year.mean() == pytest.approx(4.5 / 8 * 0.5 * 5, rel=0.08)
    assert struck.seen.of > 0


def test_a_dated_shock_lifts_the_level_and_says_so(tmp_path):
    burst = [
        {"rebuild_id": f"S-{n}", "pump_id": f"P-{n}", "opened_on": on_day(650), "kit": "FK",
         "reason": "breakdown", "failed_part": "diaphragm"}
        for n in (1, 2, 3)
    ]  # fmt: skip
    shock = {"happened_on": on_day(650), "kind": "shock", "what": "water hammer"}
    tables = {"rebuilds": [*rebuild_rows(), *burst], "readings": None}
    records = read_records(small_plant(tmp_path, **tables, events=[shock]))
    duty = build_duty(records)
    clock = build_clock(records, duty)
    fits, found = fit_lives(records, build_lives(records, duty, clock), seed=1)
    advice = advise(records, duty, clock, found, fits)
    assert len(found.shocks) == 3
    (row,) = plan_stock(records, found, advice).stock.query("item == 'FK'").to_dict("records")
    (told,) = records.log.frame().query("rule == 'shock_demand'").to_dict("records")
    assert told["what"].startswith("1 shocks in 2 years") or "1 shock" in told["what"]
    calm = advise(records, duty, clock, found, fits)
    without = plan_stock(records, _without_shocks(found), calm).stock.query("item == 'FK'")
    # (1 + 1/2) / 2 shocks a year of three kits each
    added = row["demand_per_year"] - without["demand_per_year"].iloc[0]
    assert added == pytest.approx(3 * 0.75, rel=0.1)
    assert row["reorder_point"] >= without["reorder_point"].iloc[0]


def _without_shocks(found):
    import dataclasses

    return dataclasses.replace(found, shocks=found.shocks.iloc[:0])
