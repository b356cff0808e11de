"""Limits by a service's own failures, pumps with limits of their own, and what the audit says."""

import numpy as np
import pandas as pd
import pytest

from pumplife.policy.costs import cost_rates
from pumplife.policy.limits import OWN_RELEASE, RELEASE, release_limits
from pumplife.policy.own_limits import split_by_limit
from pumplife.policy.practice import rates_of
from pumplife.policy.pump import SideLife, integrate_to
from pumplife.stock.future import advised, advised_groups
from tests.fits.lives import drawn_lives, fit
from tests.plants import pump_rows
from tests.policy.sides import draws, slip_fits
from tests.policy.test_advice import adopted_row, pumps_with, rules
from tests.policy.test_advice import advised as advised_of


def two_diaphragms(shape, scale):
    return SideLife(lives=draws([[shape]], [[scale]]), count=np.array([2.0]))


def limit_of(scale):
    return scale * (-np.log(0.95) / 2.0) ** 0.4


def test_the_stricter_of_pooled_and_own_lives_limits():
    pooled, own = two_diaphragms(2.5, 12.0), two_diaphragms(2.5, 7.0)
    found = release_limits(pooled, np.array([True]), 0.05, 0.95, alone=own)
    assert found[RELEASE] == pytest.approx(limit_of(12.0), rel=1e-8)
    assert found[OWN_RELEASE] == pytest.approx(limit_of(7.0), rel=1e-8)
    assert RELEASE in release_limits(pooled, np.array([True]), 0.05, 0.95)


@pytest.mark.parametrize("unit", [1e-4, 1e7])
def test_limits_follow_the_unit_of_usage(unit):
    pooled, own = two_diaphragms(2.5, 12.0 * unit), two_diaphragms(2.5, 7.0 * unit)
    found = release_limits(pooled, np.array([True]), 0.05, 0.95, alone=own)
    assert found[RELEASE] == pytest.approx(limit_of(12.0) * unit, rel=1e-8)
    assert found[OWN_RELEASE] == pytest.approx(limit_of(7.0) * unit, rel=1e-8)


def test_a_hazardous_group_keeps_the_limit_of_its_own_failures(tmp_path):
    fits = slip_fits()
    fits.alone = draws([[2.5], [2.6], [2.4]], [[3000.0], [9000.0], [12000.0]], tau=100.0)
    _, advice = advised_of(tmp_path, fits=fits, pumps=pumps_with(hazard="hazardous"))
    row = advice.intervals.loc[0]
    assert row["interval"] == pytest.approx(limit_of(3000.0), rel=1e-8)
    assert row["binding_limit"] == OWN_RELEASE
    assert row["release_prob"] == pytest.approx(0.05, rel=1e-6)
    assert "by this service's own failures alone" in row["verdict"]


def test_a_harmless_group_takes_no_limit_from_its_own_failures(tmp_path):
    fits = slip_fits()
    fits.alone = draws([[2.5], [2.6], [2.4]], [[3000.0], [9000.0], [12000.0]], tau=100.0)
    _, plain = advised_of(tmp_path / "a")
    _, alone = advised_of(tmp_path / "b", fits=fits)
    assert alone.advised[0] == plain.advised[0]


def hazardous(service):
    return pd.DataFrame({"pump_id": ["P"], "service": [service], "hazard": ["hazardous"]})


def test_few_failures_of_a_hazardous_service_are_also_drawn_alone():
    rich = [
        drawn_lives(np.random.default_rng(seed), 60, service=f"mild {seed}") for seed in range(3)
    ]
    few = drawn_lives(
        np.random.default_rng(9), 12, scale=1500.0, censored_at=500.0, service="harsh"
    )
    assert 0 < (few["outcome"] == "failed").sum() < 5
    fits, _, _ = fit(*rich, few, pumps=hazardous("harsh"))
    row = fits.find("harsh", 50.0, "diaphragm", "CR", "")
    others = np.arange(len(fits.table)) != row
    assert np.array_equal(fits.alone.scale[others], fits.draws.scale[others])
    assert not np.array_equal(fits.alone.scale[row], fits.draws.scale[row])
    wide = [np.ptp(np.quantile(np.log(one.scale[row]), [0.05, 0.95])) for one in
            (fits.draws, fits.alone)]  # fmt: skip
    assert wide[1] > wide[0]
    plain, _, _ = fit(*rich, few)
    assert np.array_equal(plain.alone.scale, plain.draws.scale)
    assert np.array_equal(plain.draws.scale, fits.draws.scale)


def test_enough_failures_of_a_hazardous_service_borrow_as_others_do():
    rich = [
        drawn_lives(np.random.default_rng(seed), 60, service=f"mild {seed}") for seed in range(3)
    ]
    fits, _, _ = fit(*rich, pumps=hazardous("mild 0"))
    assert np.array_equal(fits.alone.scale, fits.draws.scale)


def with_limits(*limits):
    pumps = pump_rows()
    for row, limit in zip(pumps, limits, strict=True):
        row["max_fluid_interval"] = limit
    return pumps


def test_each_pump_keeps_its_own_limit_and_the_others_dont(tmp_path):
    records, advice = advised_of(tmp_path / "own", pumps=with_limits("", 1500, ""))
    _, free = advised_of(tmp_path / "free")
    row, plain = advice.intervals.loc[0], free.intervals.loc[0]
    assert row["interval"] == plain["interval"]
    assert row["binding_limit"] == ""
    due = advice.due.set_index("pump_id")["due_usage"]
    assert due["P-2"] == 1500.0
    assert due["P-1"] == due["P-3"] == row["interval"]
    assert "1 of its pumps keeps a maker's or legal limit of its own, from 1,500" in row["verdict"]
    told = records.log.frame().query("rule == 'limits_differ'").iloc[0]
    assert told["pump_id"] == "P-2"
    # a third of the usage at 1,500 h, two thirds at the best
    group, decision = advice.groups[0], free.decisions[0]
    at = integrate_to(group.life, decision.advice.known, np.array([1500.0]))
    capped = cost_rates(decision.costs, rates_of(at)).money.mean()
    mean = 1000.0 * (capped + 2.0 * decision.advised.money.mean()) / 3.0
    assert row["cost_rate"] == pytest.approx(mean, rel=1e-9)


def test_the_loosest_limit_caps_the_group_and_stricter_ones_their_pumps(tmp_path):
    _, advice = advised_of(tmp_path, pumps=with_limits(2000, 1500, 2000))
    row = advice.intervals.loc[0]
    assert row["interval"] == 2000.0
    assert row["binding_limit"] == "maker's or legal limit"
    due = advice.due.set_index("pump_id")["due_usage"]
    assert due.to_dict() == {"P-1": 2000.0, "P-2": 1500.0, "P-3": 2000.0}


def test_stock_runs_each_pump_at_its_own_limit(tmp_path):
    _, advice = advised_of(tmp_path, pumps=with_limits("", 1500, ""))
    parts = advised_groups(advice)
    ages = [practice.planned.ages.tolist() for practice in advised(advice)]
    assert [part.pumps.tolist() for part in parts] == [[1], [0, 2]]
    assert ages == [[1500.0], [advice.advised[0]]]
    assert len({part.stream for part in parts}) == 2
    assert split_by_limit(parts[0]) == [parts[0]]


def test_an_adopted_interval_is_followed_up_to_each_pumps_own_limit(tmp_path):
    _, advice = advised_of(tmp_path, pumps=with_limits("", 1500, ""), adopted=adopted_row())
    due = advice.due.set_index("pump_id")["due_usage"]
    assert due.to_dict() == {"P-1": 5000.0, "P-2": 1500.0, "P-3": 5000.0}


def test_a_limit_below_a_days_usage_withholds_the_group(tmp_path):
    records, advice = advised_of(tmp_path, pumps=with_limits("", 4, 3000))
    row = advice.intervals.loc[0]
    assert np.isnan(row["interval"])
    assert row["verdict"] == (
        "max_fluid_interval of 1 of its pumps is shorter than a day's usage: correct it in pumps."
    )
    assert "no_interval" in rules(records)
    _, zero = advised_of(tmp_path / "zero", pumps=with_limits("", 0, ""))
    assert np.isnan(zero.intervals.loc[0, "interval"])


def test_a_makers_limit_beyond_the_release_limit_is_noted(tmp_path):
    records, advice = advised_of(
        tmp_path, pumps=pumps_with(hazard="hazardous", max_fluid_interval=4000)
    )
    assert advice.intervals.loc[0, "binding_limit"] == RELEASE
    told = records.log.frame().query("rule == 'limit_beyond_release'").iloc[0]
    assert "4,000, is longer than 1,386" in told["what"]


def test_two_rows_of_one_pump_with_two_limits_are_a_repeated_row(tmp_path):
    pumps = with_limits("", 1500, "")
    records, advice = advised_of(tmp_path, pumps=[*pumps, pumps[1] | {"max_fluid_interval": 900}])
    assert "repeated_row" in rules(records)
    assert advice.due.set_index("pump_id").loc["P-2", "due_usage"] == 1500.0


def test_a_negative_limit_withholds_intervals(tmp_path):
    records, advice = advised_of(tmp_path, pumps=with_limits("", -5, ""))
    assert advice.intervals.empty
    assert {"unreadable_limit", "no_limit"} <= rules(records)
