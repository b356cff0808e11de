"""What is planned, by hand: use, pumps that come and go, prices, the financial year."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as some

from pumplife.errors import SettingError
from pumplife.policy.ahead import UseAhead, look_ahead, open_outlook
from pumplife.records.finance import read_finance
from pumplife.records.plant import Plant
from pumplife.records.read import read_records
from pumplife.stock.budget import simulate_budget
from pumplife.stock.future import advised_groups, planned_at, run_group
from pumplife.stock.plans import PriceSteps, coming_prices, join_coming
from pumplife.stock.prices import PriceRise, price_periods
from pumplife.stock.years import budget_years
from tests.plants import SETTINGS, on_day, pump_rows, small_plant
from tests.stock.fleets import lives, run_to_failure, side_group
from tests.stock.test_budget import AMOUNT, pick
from tests.stock.test_plan import steps


def halved():
    """Use halved from day 100 to day 200, none from day 300 on."""
    return UseAhead(
        knots=np.array([0.0, 100.0, 200.0, 300.0]), share=np.array([[1.0, 0.5, 1.0, 0.0]])
    )


def test_use_ahead_by_hand():
    use, row = halved(), np.zeros(6, int)
    run = use.run_days(np.array([[0.0], [100.0], [150.0], [200.0], [300.0], [900.0]]))
    assert run[:, 0] == pytest.approx([0, 100, 125, 150, 250, 250])
    days = use.day_of(row, np.array([0.0, 50.0, 100.0, 125.0, 249.0, 251.0]))
    assert days == pytest.approx([0, 50, 100, 150, 299, np.inf])


def test_what_is_due_while_a_pump_stands_waits_until_it_runs():
    use = UseAhead(knots=np.array([0.0, 90.0]), share=np.array([[0.0, 1.0]]))
    assert use.day_of(np.array([0]), np.array([0.0])) == 90.0


@given(
    some.lists(some.floats(0.05, 3.0), min_size=4, max_size=4),
    some.floats(0.0, 900.0),
)
def test_day_and_use_are_each_others_inverse(share, day):
    use = UseAhead(knots=np.array([0.0, 50.0, 170.0, 400.0]), share=np.array([share]))
    run = use.run_days(np.array([day]))
    assert use.day_of(np.array([0]), run)[0] == pytest.approx(day, abs=1e-6)


def test_events_fall_on_the_day_on_which_their_use_is_reached():
    # one new pump, 1000 h a year, kit every 100 h = 36.525 days; halved from day 100 to 200
    group = side_group(1, lives([3.0], [1e9]))
    events = run_group(
        group, planned_at(100.0), years=1.0, replicates=1, rng=np.random.default_rng(1),
        ahead=halved(),
    )  # fmt: skip
    use = 36.525 * np.arange(1, 7)
    wanted = np.where(use <= 100, use, np.where(use <= 150, 100 + 2 * (use - 100), use + 50))
    assert np.sort(events.time) * 365.25 == pytest.approx(wanted)


def test_no_use_for_the_whole_year_means_no_failures():
    group = side_group(20, lives([1.5], [500.0]))
    rest = UseAhead(knots=np.array([0.0, 365.25]), share=np.tile([0.0, 1.0], (20, 1)))
    table = simulate_budget(
        [group], [AMOUNT], {"advised": [run_to_failure()]}, replicates=50, seed=1, ahead=[rest]
    )
    assert pick(table, "breakdowns")["p90"] == 0
    assert pick(table, "breakdowns", year=2)["mean"] > 10


def test_half_the_use_is_half_the_failures_of_parts_without_memory():
    group = side_group(40, lives([1.0], [500.0]))
    slow = UseAhead(knots=np.zeros(1), share=np.full((40, 1), 0.5))
    table = simulate_budget(
        [group], [AMOUNT], {"advised": [run_to_failure()]}, replicates=500, seed=1, ahead=[slow]
    )
    assert pick(table, "breakdowns")["mean"] == pytest.approx(40, rel=0.03)


def plant_of(text, last="2025-06-30"):
    day = pd.Timestamp(last)
    raw = {"budget": text}
    return Plant(
        name="", currency="", usage_unit="hours", records_from=day, records_to=day, raw=raw
    )


def test_the_financial_year_begins_with_the_part_up_to_it():
    years = budget_years(plant_of({"year_starts": "04-01", "years": 4}))
    assert years.number.tolist() == [0, 1, 2, 3, 4]
    assert years.span == ("part year", "year", "year", "year", "year")
    assert [f"{day:%Y-%m-%d}" for day in years.from_on[:2]] == ["2025-07-01", "2026-04-01"]
    assert [f"{day:%Y-%m-%d}" for day in years.to_on[:2]] == ["2026-03-31", "2027-03-31"]
    assert years.edges[:2] * 365.25 == pytest.approx([0, 274])


@pytest.mark.parametrize("given_", [{}, {"year_starts": "07-01"}])
def test_years_from_the_end_of_the_records_are_whole(given_):
    years = budget_years(plant_of(given_))
    assert years.number.tolist() == [1, 2, 3]
    assert f"{years.to_on[-1]:%Y-%m-%d}" == "2028-06-30"


@pytest.mark.parametrize("wrong", ["13-01", "02-29", "1 April", 4, "2025-04-01"])
def test_a_start_of_the_year_that_is_no_day_is_refused(wrong):
    with pytest.raises(SettingError, match="year_starts"):
        read_finance({"budget": {"year_starts": wrong}})


@pytest.mark.parametrize("wrong", [2, 6, 3.5, True, "3"])
def test_years_are_three_to_five(wrong):
    with pytest.raises(SettingError, match="from 3 to 5"):
        read_finance({"budget": {"years": wrong}})


def test_announced_prices_hold_from_their_day_and_rise_from_the_year_after():
    steps_ = {"K": PriceSteps(day=np.array([0.5 * 365.25]), price=np.array([360.0]))}
    rise = PriceRise(kits=0.10, steps=steps_)
    priced = price_periods(AMOUNT, np.array([0.0, 1.0, 2.0, 3.0]), rise)
    assert priced.edges == pytest.approx([0, 0.5, 1, 2, 3])
    assert priced.year.tolist() == [0, 0, 1, 2]
    planned = priced.money[:, 0, 0]  # one kit, 300 today
    assert planned == pytest.approx([300, 360, 360 * 1.1, 360 * 1.21])
    alone = priced.money[:, 2, 0]  # one part, 80 today, nothing announced
    assert alone == pytest.approx([80, 80, 88, 96.8])


def test_planned_rows_shape_use_and_groups(tmp_path):
    new = pump_rows()[0] | {"pump_id": "P-9", "commissioned_on": on_day(730 + 101)}
    rows = pump_rows()
    rows[0] |= {"retired_on": on_day(730 + 50)}
    store = {"pump_id": "P-2", "moved_on": on_day(730 + 11), "state": "in_store"}
    back = {"pump_id": "P-2", "moved_on": on_day(730 + 31), "service": "slip"}
    plan = [
        {"service": "slip", "from_on": on_day(731), "to_on": on_day(740), "use_factor": 2},
        {"pump_id": "P-3", "from_on": on_day(731), "use_factor": 0.5},
        {"service": "glue", "from_on": on_day(731), "use_factor": 0.5},
        {"service": "slip", "from_on": on_day(700), "use_factor": 9},
    ]
    plan = [dict.fromkeys(("service", "pump_id", "to_on"), "") | row for row in plan]
    moves = [dict.fromkeys(("service", "state"), "") | row for row in (store, back)]
    records, _, advice = steps(tmp_path, pumps=[*rows, new], plan=plan, moves=moves)
    outlook = open_outlook(records)
    (group,) = advised_groups(join_coming(records, advice, outlook))
    assert group.pumps.tolist() == [0, 1, 2, 3]
    assert group.known[3].all()
    assert group.age[3].sum() == 0
    assert group.rate[3] == pytest.approx(10)
    use = look_ahead(outlook, group)
    run = use.run_days(np.array([10.0, 30.0, 50.0, 100.0, 110.0])[:, None])
    assert run[:, 0] == pytest.approx([20, 40, 60, 60, 60])  # doubled for ten days, then retired
    assert run[:, 1] == pytest.approx([20, 20, 40, 90, 100])  # twenty days in store
    assert run[:, 2] == pytest.approx([5, 15, 25, 50, 55])  # its own row goes before the service's
    assert run[:, 3] == pytest.approx([0, 0, 0, 0, 10])
    rules = records.log.frame()
    assert rules.loc[rules["rule"] == "plan_begun", "row"].size == 1
    assert rules.loc[rules["rule"] == "plan_service_unknown", "what"].tolist() == [
        "No pump runs in glue today."
    ]


def test_a_pump_planned_for_a_kit_that_nobody_carries_is_told(tmp_path):
    new = pump_rows()[0] | {"pump_id": "P-9", "commissioned_on": on_day(800), "service": "glue"}
    records, _, advice = steps(tmp_path, pumps=[*pump_rows(), new])
    whole = join_coming(records, advice, open_outlook(records))
    assert whole.groups[0].pumps.size == 3
    rows = records.log.frame()
    row = rows[rows["rule"] == "coming_unpriced"].iloc[0]
    assert row["pump_id"] == "P-9"
    assert "glue with kit FK" in row["what"]


def test_the_due_list_follows_planned_use(tmp_path):
    plan = [{"service": "slip", "from_on": on_day(731), "use_factor": 0.5}]
    adopted = {"service": "slip", "side": "fluid", "interval": 4000, "decided_by": "A. N. Other"}
    adopted |= {"decided_on": on_day(700)}
    now, slow = (
        steps(tmp_path / name, adopted=[adopted], **more)[2].due.set_index("pump_id")
        for name, more in (("now", {}), ("slow", {"plan": plan}))
    )
    today = pd.Timestamp(on_day(730))
    wait, longer = ((due.loc["P-1", "due_on"] - today).days for due in (now, slow))
    assert wait > 100
    assert longer == pytest.approx(2 * wait, abs=2)


def test_announced_prices_are_read_from_the_plant(tmp_path):
    kit = {"kit": "FK", "side": "fluid", "size_mm": 50, "material": "CR", "unit_cost": 200.0}
    kits = [kit | {"valid_from": ""}, kit | {"unit_cost": 230.0, "valid_from": on_day(761)}]
    found = coming_prices(read_records(small_plant(tmp_path, kits=kits)))
    assert list(found) == ["FK"]
    assert found["FK"].price.tolist() == [230.0]
    assert found["FK"].day.tolist() == [30.0]


def test_settings_of_the_budget_are_read(tmp_path):
    settings = SETTINGS + '\n[budget]\nyear_starts = "04-01"\nyears = 5\n'
    plant = read_records(small_plant(tmp_path, plant_toml=settings)).plant
    assert (plant.finance.starts, plant.finance.years) == ((4, 1), 5)
