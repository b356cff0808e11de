"""The table costs by hand, tickets beside it, pumps that differ, and bad prices."""

import numpy as np
import pandas as pd
import pytest

from pumplife.errors import SettingError
from pumplife.policy.cost_table import COST_COLUMNS
from pumplife.policy.interval import advise_interval, cost_rate, optimal_interval
from pumplife.policy.pump import SideLife, integrate_to
from pumplife.policy.pumps_differ import find_misfits
from tests.plants import SETTINGS, on_day, part_rows, pump_rows, small_tables
from tests.policy.sides import draws, slip_fits
from tests.policy.test_advice import (
    COSTS,
    FAILURE,
    PLANNED,
    SPILL,
    advised,
    kit_rows,
    pumps_with,
    rules,
    settings,
)

AIR = "[work.air]\nplanned_labour_h = 1\nbreakdown_labour_h = 2\n"
AIR += "planned_downtime_h = 1.5\nbreakdown_downtime_h = 2\n"


def breakdowns(*rows, **same):
    """Breakdowns of P-1 with the kit and a diaphragm blamed, a hundred days apart."""
    base = {"pump_id": "P-1", "reason": "breakdown", "kit": "FK", "failed_part": "diaphragm"}
    return pd.DataFrame(
        [
            base | {"rebuild_id": f"R-{n}", "opened_on": on_day(50 + 20 * n)} | same | row
            for n, row in enumerate(rows)
        ]
    )


def figures(advice):
    return advice.costs.set_index("item")


def test_every_figure_has_its_value_unit_and_source(tmp_path):
    text = settings("spill = 200.0", 'spill = 200.0\n[costs.service."slip"]\ndowntime_per_h = 90.0')
    text = text.replace('[costs.service."slip"]\ndowntime_per_h = 90.0\n', "")
    text += '\n[costs.service."slip"]\ndowntime_per_h = 90.0\n'
    kits = [kit_rows()[0] | {"valid_from": on_day(-30)}]
    pumps = pump_rows()
    pumps[2] |= {"downtime_per_h": 150.0}
    _, advice = advised(tmp_path, plant_toml=text, kits=kits, pumps=pumps)
    assert list(advice.costs.columns) == list(COST_COLUMNS)
    told = figures(advice)
    assert told.loc["kit FK", ["value", "unit", "source"]].tolist() == [
        200.0, "EUR", "kits.csv row 2",
    ]  # fmt: skip
    assert told.loc["kit FK", "valid_from"] == pd.Timestamp(on_day(-30))
    assert told.loc["ball BALL", "source"] == "parts.csv row 3"
    assert told.loc["labour", ["value", "unit"]].tolist() == [50.0, "EUR/h"]
    assert told.loc["labour", "source"] == "plant.toml [costs] labour_per_h"
    assert told.loc["planned labour", "source"] == "plant.toml [work.fluid]"
    lost = told.loc["lost production"]
    assert lost[["value", "value_low", "value_high"]].tolist() == [110.0, 90.0, 150.0]
    assert lost["source"] == (
        'downtime_per_h of the pump (1 pumps); plant.toml [costs.service."slip"] (2 pumps)'
    )
    assert told.loc["air side fouled", ["value", "source"]].tolist() == [0.0, "assumed 0"]
    assert told.loc["discount", "unit"] == "a year, finite horizon only"
    assert told["source"].ne("").all()
    assert told["unit"].ne("").all()


def test_sums_are_what_the_intervals_rest_on(tmp_path):
    _, advice = advised(tmp_path)
    told = figures(advice)
    assert told.loc["planned rebuild", "value"] == PLANNED
    assert told.loc["breakdown by diaphragm DIAPHRAGM, whole kit", "value"] == FAILURE + SPILL
    assert advice.intervals.loc[0, "planned_cost"] == PLANNED


def test_missing_hours_name_the_tickets_they_come_from(tmp_path):
    text = SETTINGS.replace("breakdown_labour_h = 5.0\n", "")
    tickets = breakdowns({"labour_h": 4.0}, {"labour_h": 6.0}, {"labour_h": 8.0})
    _, advice = advised(tmp_path, plant_toml=text, rebuilds=tickets, findings=None)
    row = figures(advice).loc["breakdown labour"]
    assert row[["value", "source"]].tolist() == [6.0, "median of 3 tickets"]
    assert row[["tickets", "ticket_median", "ticket_mean"]].tolist() == [3, 6.0, 6.0]
    assert row["note"] == ""


def test_figures_that_tickets_contradict_are_named(tmp_path):
    hours = [7.0, 8.0, 9.0, 8.0]
    tickets = breakdowns(*({"labour_h": h, "downtime_h": 9.0, "waited_h": 1.0} for h in hours))
    _, advice = advised(tmp_path, rebuilds=tickets, findings=None)
    told = figures(advice)
    assert told.loc["breakdown labour", "note"] == "tickets say 60 % more"
    assert told.loc["breakdown labour", ["ticket_low", "ticket_high"]].tolist() == [7.3, 8.7]
    # 8 h without the waiting, as assumed
    assert told.loc["breakdown downtime", ["ticket_mean", "note"]].tolist() == [8.0, ""]


def test_a_difference_within_chance_is_not_named(tmp_path):
    tickets = breakdowns(*({"labour_h": h} for h in (1.0, 5.0, 15.0)))
    _, advice = advised(tmp_path, rebuilds=tickets, findings=None)
    row = figures(advice).loc["breakdown labour"]
    assert row["ticket_mean"] == 7.0
    assert row["note"] == ""


def test_a_breakdown_is_priced_once_by_the_side_that_called_for_it(tmp_path):
    # one order fitted both kits after a rupture: all of it is the fluid side's
    kits = [*kit_rows(), {"kit": "AK", "side": "air", "size_mm": 50, "unit_cost": 80.0}]
    valve = {"part_no": "V", "part": "air valve", "side": "air", "wears": "yes", "per_pump": 1}
    parts = [*part_rows(), valve | {"size_mm": 50, "unit_cost": 70.0, "material": "CR"}]
    contents = [*small_tables()["kit_contents"], {"kit": "AK", "part_no": "V", "quantity": 1}]
    both = breakdowns({}, {"kit": "AK", "failed_part": ""})
    both = both.assign(rebuild_id="R-1", opened_on=on_day(300), released="air_side")
    both = both.assign(labour_h=6.0, downtime_h=10.0, waited_h=2.0, other_cost=300.0)
    fits = slip_fits()
    _, advice = advised(
        tmp_path, rebuilds=both, findings=None, kits=kits, parts=parts, kit_contents=contents,
        pumps=pumps_with(air_kit="AK"), plant_toml=SETTINGS + AIR, fits=fits,
    )  # fmt: skip
    row = advice.intervals.set_index("side").loc["fluid"]
    assert row["tickets_priced"] == 1
    assert row["actual_cost_per_breakdown"] == 200 + 80 + 100 + 6 * 50 + 8 * 100 + 300
    told = advice.costs[advice.costs["side"] == "fluid"].set_index("item")
    assert told.loc["air side fouled", ["tickets", "ticket_mean"]].tolist() == [1, 1.0]
    assert told.loc["fouled air side, kit", "value"] == 80.0
    assert told.loc["fouled air side, downtime", "value"] == 1.5


def test_production_really_lost_counts_and_a_blank_spill_is_the_assumed_one(tmp_path):
    tickets = breakdowns(
        {"labour_h": 5.0, "downtime_h": 30.0, "production_lost_h": 0.0, "released": "outside"}
    )
    _, advice = advised(tmp_path, rebuilds=tickets, findings=None)
    cost = 200 + 100 + 5 * 50 + SPILL
    assert advice.intervals.loc[0, "actual_cost_per_breakdown"] == cost


def test_a_part_renewed_alone_is_priced_as_such(tmp_path):
    tickets = breakdowns({"kit": "none", "failed_part": "ball", "labour_h": 2.0})
    _, advice = advised(tmp_path, rebuilds=tickets, findings=None)
    row = advice.intervals.loc[0]
    assert row["actual_cost_per_breakdown"] == 15 + 100 + 2 * 50
    decision, group = advice.decisions[0], advice.groups[0]
    share = decision.advice.at_failure.incidence[0].mean(axis=1)
    mix = group.kit_share * COSTS + (1.0 - group.kit_share) * group.costs.part_money
    assert row["assumed_cost_per_breakdown"] == pytest.approx(np.dot(share, mix) / share.sum())


@pytest.mark.parametrize(("hours", "told"), [(25.0, True), (8.0, False)])
def test_breakdowns_far_dearer_than_assumed_are_a_caution(tmp_path, hours, told):
    tickets = breakdowns(*[{"labour_h": 5.0, "downtime_h": hours, "other_cost": 0.0}] * 6)
    records, advice = advised(tmp_path, rebuilds=tickets, findings=None)
    row = advice.intervals.loc[0]
    assert ("ticket_costs_differ" in rules(records)) is told
    assert row["costs_differ"].startswith("By 6 tickets a breakdown cost 3,050" if told else "")
    assert ("By 6 tickets" in row["verdict"]) is told


def test_four_dear_tickets_are_too_few_to_say_so(tmp_path):
    tickets = breakdowns(*[{"labour_h": 50.0, "downtime_h": 90.0}] * 4)
    records, _ = advised(tmp_path, rebuilds=tickets, findings=None)
    assert "ticket_costs_differ" not in rules(records)


def test_pumps_whose_downtime_differs_much_are_named_with_their_interval(tmp_path):
    pumps = pump_rows()
    pumps[0] |= {"downtime_per_h": 5.0}
    pumps[1] |= {"downtime_per_h": 5.0}
    pumps[2] |= {"downtime_per_h": 2000.0}
    records, advice = advised(tmp_path, pumps=pumps)
    row, decision, group = advice.intervals.loc[0], advice.decisions[0], advice.groups[0]
    assert row[["downtime_per_h_low", "downtime_per_h_high"]].tolist() == [5.0, 2000.0]
    best, excess = find_misfits(group, decision)
    for pump, rate in enumerate((5.0, 5.0, 2000.0)):
        own = COSTS + 8 * (rate - 100), PLANNED + 2 * (rate - 100)
        wanted, least = optimal_interval(group.life, own[1], own[0])
        assert best[pump] == pytest.approx(wanted[0], rel=0.08)
        at = integrate_to(group.life, decision.advice.known, np.array([decision.interval]))
        paid = cost_rate(at, own[1], own[0])[0, 0] / least[0] - 1.0
        assert excess[pump] == pytest.approx(paid, abs=0.01)
    assert excess[0] > 0.05
    assert row["pumps_apart"].startswith("P-1, P-2: about ") or "P-1, P-2: " in row["pumps_apart"]
    assert "P-1, P-2" in records.log.frame().query("rule == 'pumps_differ'")["what"].iloc[0]


def test_pumps_of_one_downtime_cost_share_an_interval(tmp_path):
    records, advice = advised(tmp_path)
    assert advice.intervals.loc[0, "pumps_apart"] == ""
    assert "pumps_differ" not in rules(records)


def test_downtime_is_weighed_by_usage(tmp_path):
    pumps = pump_rows()
    pumps[2] |= {"downtime_per_h": 400.0, "use_per_week": 210}  # 30 h a day, the others 10
    _, advice = advised(tmp_path, pumps=pumps, readings=None)
    assert advice.groups[0].costs.downtime_per_h == pytest.approx(0.4 * 100 + 0.6 * 400)


def test_planned_work_dearer_than_a_breakdown_is_said(tmp_path):
    text = settings("planned_downtime_h = 2.0", "planned_downtime_h = 40.0")
    records, advice = advised(tmp_path, plant_toml=text)
    row = advice.intervals.loc[0]
    assert row["policy"].startswith("run to failure")
    assert "a planned rebuild is no cheaper than a breakdown" in row["verdict"]
    told = records.log.frame().query("rule == 'planned_dearer'").iloc[0]
    assert "a planned rebuild costs 4,350, a breakdown at most 1,550" in told["what"]


def test_parts_prices_stand_in_for_a_kit_without_one(tmp_path):
    records, advice = advised(tmp_path, kits=[kit_rows()[0] | {"unit_cost": ""}])
    assert advice.groups[0].costs.kit_price == 2 * 60 + 4 * 15 + 4 * 12
    told = records.log.frame().query("rule == 'kit_price_from_parts'").iloc[0]
    assert told["what"] == "FK has no unit_cost; its parts together cost 228."
    source = figures(advice).loc["kit FK", "source"]
    assert source == "the sum of its parts (no price in kits.csv row 2)"


def test_a_kit_one_of_whose_parts_has_no_price_stays_without(tmp_path):
    parts = part_rows()
    parts[2] |= {"unit_cost": ""}
    kits = [kit_rows()[0] | {"unit_cost": ""}, kit_rows()[0] | {"kit": "F2"}]
    records, advice = advised(tmp_path, kits=kits, parts=parts)
    assert advice.intervals.loc[0, "verdict"] == "Kit FK has no price: write unit_cost in kits."
    assert "no_price" in rules(records)


def test_a_loose_part_without_a_price_is_the_kits_and_says_so(tmp_path):
    parts = part_rows()
    parts[1] |= {"unit_cost": ""}
    _, advice = advised(tmp_path, parts=parts)
    row = figures(advice).loc["ball BALL"]
    assert row[["value", "source"]].tolist() == [200.0, "that of the kit: BALL has no price"]


def test_a_price_of_0_is_a_caution(tmp_path):
    records, _ = advised(tmp_path, kits=[kit_rows()[0] | {"unit_cost": 0}])
    assert "price_zero" in rules(records)


def test_a_negative_price_counts_as_not_written(tmp_path):
    parts = [row | {"unit_cost": ""} for row in part_rows()]
    kits = [kit_rows()[0] | {"unit_cost": -5}, kit_rows()[0] | {"kit": "F2"}]
    records, advice = advised(tmp_path, kits=kits, parts=parts)
    assert {"unreadable_number", "no_price"} <= rules(records)
    assert np.isnan(advice.intervals.loc[0, "interval"])


@pytest.mark.parametrize(
    ("value", "words"),
    [("-3.0", "0 or more"), ("nan", "0 or more"), ("1.5", "from 0 to 1"), ('"dear"', "from 0")],
)
def test_figures_that_cant_be_stop_the_reading(tmp_path, value, words):
    name = "opening_fault_probability" if words != "0 or more" else "spill_"
    text = settings("call_out = 100.0", f"call_out = 100.0\n{name} = {value}")
    text = text.replace("spill_ =", "spill =").replace("spill = 200.0\n", "", 1)
    with pytest.raises(SettingError, match=words):
        advised(tmp_path, plant_toml=text)


def test_an_interval_beyond_every_life_is_called_extrapolated(tmp_path):
    fits = slip_fits()
    fits.table["longest_life"] = 500.0
    _, advice = advised(tmp_path / "a", fits=fits)
    row = advice.intervals.loc[0]
    assert row[["extrapolated", "longest_life"]].tolist() == ["beyond the longest life seen", 500.0]
    assert "where the lives are extrapolated" in row["verdict"]
    _, inside = advised(tmp_path / "b")
    assert inside.intervals.loc[0, "extrapolated"] == ""


def test_loss_if_wrong_is_the_ninetieth_percentile_and_never_below_0(tmp_path):
    lives = slip_fits(scale=[[6000.0, 30000.0], [9000.0, 9000.0], [12000.0, 12000.0]],
                      shape=[[2.5, 2.5], [2.6, 2.6], [2.4, 2.4]])  # fmt: skip
    _, advice = advised(tmp_path, fits=lives)
    decision, usage = advice.decisions[0], advice.groups[0].usage_per_year.sum()
    lost = usage * (decision.advised.money - decision.followed.money)
    wanted = max(0.0, float(np.quantile(lost, 0.9)))
    assert advice.intervals.loc[0, "loss_if_wrong"] == pytest.approx(wanted)
    _, sure = advised(tmp_path / "sure")
    assert sure.intervals.loc[0, "loss_if_wrong"] == 0.0


def saving(side, planned, failure):
    advice = advise_interval(side, planned, np.array([failure]))
    never = advice.cost_rate_run_to_failure.mean()
    return advice.interval, 1.0 - advice.cost_rate.mean() / never


@pytest.mark.parametrize(
    ("fault", "interval", "saved"), [(0.0, 0.49, 0.39), (0.06, 0.55, 0.32), (0.12, None, 0.26)]
)
def test_planned_work_pays_for_its_faults(tmp_path, fault, interval, saved):
    """Computed values of the trade brief: shape 2.5, a failure at five times planned work.

    Every opening costs `fault` breakdowns more: through [costs] into both kinds of work.
    """
    text = "\n".join(
        [
            '[plant]\nusage_unit = "hours"\ncurrency = "EUR"',
            f"records_from = {on_day(0)}\nrecords_to = {on_day(730)}",
            f"[costs]\nlabour_per_h = 1\ndowntime_per_h = 0\nspill = 0\ncall_out = 0\n"
            f"opening_fault_probability = {fault}",
            "[work.fluid]\nplanned_labour_h = 100\nbreakdown_labour_h = 500",
            "planned_downtime_h = 0\nbreakdown_downtime_h = 0\n",
        ]
    )
    kits = [kit_rows()[0] | {"unit_cost": 0.0}]
    _, advice = advised(tmp_path, plant_toml=text, kits=kits)
    costs = advice.groups[0].costs
    assert costs.planned_money == pytest.approx(100 + 500 * fault)
    side = SideLife(lives=draws([[2.5]], [[1.0]]), count=np.ones(1))
    found, share = saving(side, costs.planned_money, float(costs.failure_money[0]))
    assert share == pytest.approx(saved, abs=0.01)
    if interval is not None:
        assert found == pytest.approx(interval, abs=0.006)


def test_faults_in_the_fits_are_paid_by_planned_work_as_well():
    """The same 6 % as early lives of the draws: each renewal, planned or not, may start one."""
    early = SideLife(lives=draws([[2.5]], [[1.0]], 0.06, 1e-4), count=np.ones(1))
    worn = SideLife(lives=draws([[2.5]], [[1.0]]), count=np.ones(1))
    interval, share = saving(early, 1.0, 5.0)
    plain, most = saving(worn, 1.0, 5.0)
    assert interval > 1.08 * plain
    assert share < most - 0.05
    # an opening that goes wrong is opened again, which may go wrong again: 0.06 / 0.94 of 5
    again, charged = saving(worn, 1.0 + 5.0 * 0.06 / 0.94, 5.0 + 5.0 * 0.06 / 0.94)
    assert interval == pytest.approx(again, rel=0.01)
    assert share == pytest.approx(charged, abs=0.005)
