"""Shocks in the budget: how often, how much at once, and that everything still adds up."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pumplife.fits.build import fit_lives
from pumplife.lives.build import build_lives
from pumplife.policy.advice import advise
from pumplife.policy.ahead import UseAhead
from pumplife.records.duty import build_duty
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock
from pumplife.stock.bridge import STEPS, LastYear, build_bridge
from pumplife.stock.budget import plan_budget
from pumplife.stock.by_pump import split_budget
from pumplife.stock.cash import plan_cash
from pumplife.stock.future import planned_at
from pumplife.stock.outcome import PUMP_SUMS, SUMS, Setting, run_way
from pumplife.stock.prices import PriceRise
from pumplife.stock.shelf import plan_stock
from pumplife.stock.shocks import list_past_shocks
from pumplife.stock.years import plain_years
from tests.plants import on_day, rebuild_rows, small_plant
from tests.stock.fleets import lives, run_to_failure, side_group
from tests.stock.test_budget import AMOUNT
from tests.stock.test_shocks import shocks

FUTURES = 6000
EVERLASTING = lives([3.0], [1e9])
# four shocks in eight years; one took five pumps, one three, two took pumps that are gone
PAST = shocks(count=4, years=8.0, rows=[(int(n > 4), 0, n, 0, 1) for n in range(8)])
RATE = 4.5 / 8.0  # Jeffreys [shocks/year]


def outcome_of(way, *, past=PAST, groups=None, replicates=FUTURES, **changes):
    groups = groups or [side_group(8, EVERLASTING)]
    setting = Setting(
        groups=groups, amounts=[AMOUNT] * len(groups), ahead=[None] * len(groups),
        years=plain_years(), rise=PriceRise(), replicates=replicates, seed=7, shocks=past,
    )  # fmt: skip
    return run_way(replace(setting, **changes), [way] * len(groups), pumps=True)


@pytest.mark.parametrize("kit_share", [0.0, 0.4, 1.0])
def test_a_rate_and_a_size_make_the_mean_year(kit_share):
    outcome = outcome_of(run_to_failure(kit_share))
    asked = RATE * (5 + 3) / 4  # each past shock is as likely; two of four strike nobody
    alone = 80 + 150 + 3 * 50 + 600
    whole = 300 + 150 + 4 * 50 + 800
    expected = {
        "breakdowns": asked, "spills": asked, "kits": kit_share * asked,
        "parts": (1 - kit_share) * asked,
        "labour_h": asked * (3 + kit_share), "downtime_h": asked * (6 + 2 * kit_share),
        "money": asked * (kit_share * whole + (1 - kit_share) * alone),
        "flat": asked * (kit_share * whole + (1 - kit_share) * alone),
    }  # fmt: skip
    for name, mean in expected.items():
        own = outcome.of(name)
        for year in range(3):
            near = 4.0 * own[year].std() / np.sqrt(FUTURES)
            assert own[year].mean() == pytest.approx(mean, abs=near), (name, year)


def test_pumps_that_share_a_cause_break_down_in_the_same_future():
    """Widths by hand, and against as many breakdowns one by one."""
    counted = outcome_of(run_to_failure()).of("breakdowns")[0]
    assert set(np.unique(counted)) <= {5 * a + 3 * b for a in range(9) for b in range(9)}
    # compound Poisson with a gamma rate: E N E(size²) + Var(rate) E(size)²
    variance = RATE * (25 + 9) / 4 + 4.5 / 8.0**2 * (8 / 4) ** 2
    assert counted.var() == pytest.approx(variance, rel=0.1)
    mean = RATE * 8 / 4
    even = outcome_of(
        run_to_failure(), past=None, groups=[side_group(8, lives([1.0], [8 * 1000.0 / mean]))]
    )
    even = even.of("breakdowns")[0]
    assert even.mean() == pytest.approx(counted.mean(), rel=0.1)
    for share in (0.9, 0.95):
        assert np.quantile(counted, share) > np.quantile(even, share) + 0.9
    assert (counted == 0).mean() > (even == 0).mean() + 0.2


def test_every_way_of_working_meets_the_same_shocks():
    ways = [run_to_failure(0.3), run_to_failure(1.0), planned_at(400.0)]
    counted = [outcome_of(way, replicates=400).of("breakdowns") for way in ways]
    assert (counted[0] == counted[1]).all()
    assert (counted[0] == counted[2]).all()


def test_several_pieces_of_one_breakdown_are_one_breakdown():
    past = shocks(count=1, years=2.0, rows=[(0, 0, 0, 0, 3)])
    outcome = outcome_of(run_to_failure(0.0), past=past)
    broken = outcome.of("breakdowns")
    assert (outcome.of("parts") == 3 * broken).all()
    each = 3 * 80 + 150 + 3 * 50 + 600
    assert outcome.of("money") == pytest.approx(each * broken)
    assert outcome.of("material") == pytest.approx(3 * 80 * broken)
    with_kit = outcome_of(run_to_failure(1.0), past=past)
    assert (with_kit.of("kits") == with_kit.of("breakdowns")).all()
    assert not with_kit.of("parts").any()


def test_further_pieces_rise_in_price_as_the_first():
    past = shocks(count=1, years=2.0, rows=[(0, 0, 0, 0, 3)])
    rise = PriceRise(kits=0.10)
    outcome = outcome_of(run_to_failure(0.0), past=past, rise=rise)
    for year in range(3):
        paid = 3 * 80 * 1.1**year * outcome.of("breakdowns")[year]
        assert outcome.of("material")[year] == pytest.approx(paid)
    assert outcome.of("flat") == pytest.approx((3 * 80 + 900) * outcome.of("breakdowns"))


def test_where_nobody_named_a_part_the_kit_is_fitted():
    past = shocks(count=1, years=2.0, rows=[(0, 0, 0, -1, 1)])
    outcome = outcome_of(run_to_failure(0.0), past=past)
    assert (outcome.of("kits") == outcome.of("breakdowns")).all()
    assert outcome.of("breakdowns").any()


def test_a_pump_that_is_gone_is_struck_no_more():
    past = shocks(count=1, years=2.0, rows=[(0, 0, n, 0, 1) for n in range(8)])
    share = np.ones((8, 2))
    share[2:, 1] = 0.0  # all but two go after one year
    gone = UseAhead(knots=np.array([0.0, 365.25]), share=share)
    counted = outcome_of(run_to_failure(), past=past, ahead=[gone]).of("breakdowns")
    assert set(np.unique(counted[0] % 8)) == {0}
    assert counted[1:].mean() == pytest.approx(counted[0].mean() * 2 / 8, rel=0.06)


def test_pumps_sites_and_services_add_up():
    groups = [side_group(4, lives([1.5], [800.0]), first=4 * n) for n in range(2)]
    groups[1].site[:] = "NORTH"
    past = shocks(count=2, years=3.0, rows=[(0, n // 4, n % 4, 0, 2) for n in range(8)])
    outcome = outcome_of(run_to_failure(0.5), past=past, groups=groups, replicates=300)
    for place, name in enumerate(PUMP_SUMS):
        sums = outcome.by_pump[..., place].sum(axis=0)
        assert sums == pytest.approx(outcome.of(name)[0])
    for name in SUMS:
        apart = outcome.of(name, site="NORTH") + outcome.of(name, site="SITE")
        assert outcome.of(name) == pytest.approx(apart)
    struck = np.corrcoef([outcome.of("money", site=site)[0] for site in ("NORTH", "SITE")])
    plain = outcome_of(run_to_failure(0.5), past=None, groups=groups, replicates=300)
    alone = np.corrcoef([plain.of("money", site=site)[0] for site in ("NORTH", "SITE")])
    assert struck[0, 1] > alone[0, 1] + 0.3


def test_without_shocks_nothing_changes():
    never = shocks(count=0)
    groups = [side_group(4, lives([1.5], [800.0]))]
    found = [
        outcome_of(run_to_failure(0.5), past=past, groups=groups, replicates=200)
        for past in (None, never)
    ]
    assert (found[0].totals == found[1].totals).all()
    assert (found[0].by_pump == found[1].by_pump).all()


@pytest.fixture(scope="module")
def struck(tmp_path_factory):
    """The small plant, three of whose pumps broke down together once in two years."""
    burst = [
        {"rebuild_id": f"S-{n}", "pump_id": f"P-{n}", "opened_on": on_day(650), "kit": "FK",
         "reason": "breakdown", "failed_part": "diaphragm", "labour_h": 4.0, "downtime_h": 8.0}
        for n in (1, 2, 3)
    ]  # fmt: skip
    usual = [row | {"labour_h": 4.0, "downtime_h": 8.0} for row in rebuild_rows()]
    shock = {"happened_on": on_day(650), "kind": "shock", "what": "water hammer"}
    folder = small_plant(
        tmp_path_factory.mktemp("plant"), rebuilds=[*usual, *burst], readings=None, events=[shock]
    )
    records = read_records(folder)
    duty = build_duty(records)
    clock = build_clock(records, duty)
    fits, found = fit_lives(records, build_lives(records, duty, clock), seed=1)
    advice = advise(records, duty, clock, found, fits)
    known = LastYear(records=records, clock=clock, lives=found, advice=advice)
    calm = replace(found, shocks=found.shocks.iloc[:0])
    return known, plan_budget(records, found, advice), plan_budget(records, calm, advice)


def test_a_dated_shock_is_in_every_scenario_of_the_budget(struck):
    _, budget, calm = struck
    assert budget.setting.shocks.count == 1
    assert set(budget.outcomes) == {"today", "advised", "run_to_failure"}
    for name, outcome in budget.outcomes.items():
        more = outcome.of("breakdowns") - calm.outcomes[name].of("breakdowns")
        # (1 + 1/2) / 2 shocks a year of three breakdowns each
        assert more.mean() == pytest.approx(3 * 0.75, rel=0.1)
        assert set(np.unique(more % 3)) == {0}
        assert (outcome.of("money") >= calm.outcomes[name].of("money")).all()


def test_parts_that_failed_on_one_ticket_are_one_breakdown(struck):
    known, budget, _ = struck
    listed = known.lives.shocks
    first = listed[listed["rebuild_id"] == "S-1"]
    both = pd.concat([first.assign(part="ball", failures=2.0), listed], ignore_index=True)
    past = list_past_shocks(known.records, replace(known.lives, shocks=both), budget.setting.groups)
    assert past.leads.sum() == 3
    names = [budget.setting.groups[g].part[p] for g, p in zip(past.group, past.part, strict=True)]
    assert names[:2] == ["diaphragm", "ball"]  # what releases fluid leads
    assert past.leads[:2].tolist() == [True, False]
    assert past.pieces[:2].tolist() == [1, 2]


def test_bridge_and_splits_of_a_struck_plant_add_up(struck):
    known, budget, calm = struck
    bridge = build_bridge(known, budget)
    whole = bridge[bridge["site"] == "all"]
    assert len(whole) == len(STEPS)
    assert whole["amount"].iloc[:-1].sum() == pytest.approx(whole["amount"].iloc[-1])
    rows = budget.table.query("site == 'all' and year == 1 and scenario == 'advised'")
    rows = rows.set_index("quantity")
    assert whole["amount"].iloc[-1] == pytest.approx(rows.loc["money", "mean"])
    for table in split_budget(known.records, budget).values():
        for name, quantity in (("mean", "money"), ("kits", "kits"), ("breakdowns", "breakdowns")):
            assert table[name].sum() == pytest.approx(rows.loc[quantity, "mean"])
    assert (
        rows.loc["money", "mean"]
        > calm.table.query(
            "site == 'all' and year == 1 and scenario == 'advised' and quantity == 'money'"
        )["mean"].item()
    )


def test_cash_pays_for_what_shocks_take(struck):
    known, budget, calm = struck
    stock = plan_stock(known.records, known.lives, known.advice)
    paid = [
        plan_cash(known.records, one, stock).query("what == 'breakdowns'")["amount"].sum()
        for one in (budget, calm)
    ]
    taken = [one.outcomes[one.follows].of("material").mean(axis=1).sum() for one in (budget, calm)]
    assert paid[0] - paid[1] == pytest.approx(taken[0] - taken[1], rel=0.02)
