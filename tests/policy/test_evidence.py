"""Below the minimum of evidence today's interval stays, and the advice says what to record."""

import numpy as np
import pandas as pd
import pytest

from pumplife.policy.evidence import KEEP_TODAYS, typical_interval
from pumplife.policy.limits import RELEASE
from pumplife.policy.simulate import PlannedAges, fixed_interval
from tests.plants import SETTINGS, on_day
from tests.policy.sides import slip_fits
from tests.policy.test_advice import adopted_row, advised, pumps_with


def thin_fits(failures=0.4):
    fits = slip_fits()
    fits.table["failures"] = failures
    return fits


def planned_every(days, *, pumps=("P-1", "P-2", "P-3")):
    """Planned kits at even distances, ten hours a day."""
    return [
        {
            "rebuild_id": f"R-{pump}-{day}",
            "pump_id": pump,
            "opened_on": on_day(day),
            "reason": "planned",
            "kit": "FK",
            "failed_part": "none",
        }
        for pump in pumps
        for day in range(days, 730, days)
    ]


def test_the_typical_interval_is_the_median_of_planned_ages():
    mixed = PlannedAges(ages=np.array([100.0, 200.0, 900.0]), weights=np.array([0.3, 0.4, 0.3]))
    assert typical_interval(mixed) == 200.0
    rarely = PlannedAges(ages=np.array([100.0, np.inf]), weights=np.array([0.4, 0.6]))
    assert typical_interval(rarely) == np.inf
    assert typical_interval(fixed_interval(np.inf)) == np.inf


def test_todays_interval_is_kept_and_the_rest_is_to_be_recorded(tmp_path):
    _, advice = advised(tmp_path, fits=thin_fits(), rebuilds=planned_every(120), findings=None)
    row = advice.intervals.loc[0]
    assert row["policy"] == KEEP_TODAYS
    assert row["interval"] == pytest.approx(1200.0, rel=0.01)
    assert np.isnan(row["near_best_low"])  # nothing is claimed of costs around it
    assert np.isnan(row["near_best_high"])
    assert row["verdict"].startswith("Keep today's interval of 1,200 hours: 1.2 failures are on")
    assert (
        "From now on record the part that failed and each part found sound or worn."
        in (row["verdict"])
    )
    assert (advice.due["due_usage"] == row["interval"]).all()
    assert row["saving_per_year"] == pytest.approx(0.0, abs=0.05 * row["cost_rate"])


def test_three_failures_are_enough_unless_the_plant_asks_for_more(tmp_path):
    tickets = planned_every(120)
    _, three = advised(tmp_path / "a", fits=thin_fits(1.0), rebuilds=tickets, findings=None)
    assert three.intervals.loc[0, "policy"] == "planned kit"
    text = SETTINGS + "\n[evidence]\nadvise = 10\n"
    records, more = advised(
        tmp_path / "b", fits=thin_fits(3.0), rebuilds=tickets, findings=None, plant_toml=text
    )
    assert more.intervals.loc[0, "policy"] == KEEP_TODAYS
    assert records.plant.evidence == {"advise": 10}


def test_without_an_interval_today_the_pumps_run_to_failure_or_to_the_limit(tmp_path):
    tickets = [row | {"reason": "breakdown", "failed_part": ""} for row in planned_every(400)]
    _, free = advised(tmp_path / "a", fits=thin_fits(), rebuilds=tickets, findings=None)
    row = free.intervals.loc[0]
    assert row["policy"] == "run to failure"
    assert row["verdict"].startswith("Run to failure for now: 1.2 failures are on record")
    pumps = pumps_with(max_fluid_interval=1500)
    _, capped = advised(
        tmp_path / "b", fits=thin_fits(), rebuilds=tickets, findings=None, pumps=pumps
    )
    row = capped.intervals.loc[0]
    assert row["interval"] == 1500.0
    assert row["policy"] == "planned kit"
    assert row["binding_limit"] == "maker's or legal limit"
    assert row["verdict"].startswith("Renew the whole side every 1,500 hours, the limit, for now")


@pytest.mark.parametrize(("days", "kept"), [(100, 1000.0), (300, None)])
def test_a_hazardous_group_never_runs_longer_than_today(tmp_path, days, kept):
    limit = 6000 * (-np.log(0.95) / 2) ** 0.4  # 1,386 h
    _, advice = advised(
        tmp_path,
        fits=thin_fits(),
        rebuilds=planned_every(days),
        findings=None,
        pumps=pumps_with(hazard="hazardous"),
    )
    row = advice.intervals.loc[0]
    assert row["interval"] == pytest.approx(limit if kept is None else kept, rel=0.01)
    assert row["binding_limit"] == (RELEASE if kept is None else "today's interval")


def test_an_adopted_interval_is_todays(tmp_path):
    _, advice = advised(tmp_path, fits=thin_fits(), adopted=adopted_row(interval=2500))
    row = advice.intervals.loc[0]
    assert (row["policy"], row["interval"], row["review"]) == (KEEP_TODAYS, 2500.0, "keep")
    assert row["cost_of_keeping"] == pytest.approx(0.0, abs=1e-9)
    _, never = advised(tmp_path / "b", fits=thin_fits(), adopted=adopted_row(interval=""))
    assert never.intervals.loc[0, "policy"] == "run to failure"


def test_what_tickets_hold_already_is_not_asked_for(tmp_path):
    tickets = pd.DataFrame(planned_every(120))
    tickets.loc[tickets["pump_id"] == "P-1", ["reason", "failed_part"]] = ["breakdown", "ball"]
    _, advice = advised(tmp_path, fits=thin_fits(), rebuilds=tickets, findings=None)
    assert advice.groups[0].evidence.record == ("each part found sound or worn",)
