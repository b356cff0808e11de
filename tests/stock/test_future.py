"""How pumps are looked after in simulated futures: on the days of the due list, then by age."""

import numpy as np
import pandas as pd
import pytest

from pumplife.policy.ahead import look_ahead, open_outlook
from pumplife.policy.simulate import PLANNED
from pumplife.stock.future import advised, advised_groups, follow, run_group
from pumplife.stock.jobs import list_jobs
from tests.plants import SETTINGS, on_day
from tests.policy.sides import slip_fits
from tests.policy.test_advice import advised as advise_small
from tests.policy.test_bench import KITS, many_pumps

BENCH = SETTINGS + "\n[calendar]\nbench_hours_per_week = 9\n"
LASTING = slip_fits(scale=[[6e7], [9e7], [12e7]])
KEY = {"service": "slip", "size_mm": 50, "side": "fluid", "kit": "FK", "hazard": "none"}
ADOPTED = [KEY | {"interval": 2000.0, "decided_by": "planner", "decided_on": on_day(700)}]


def test_the_first_renewals_are_those_of_the_due_list(tmp_path):
    """All are overdue and the bench is small: the work is spread over weeks."""
    records, advice = advise_small(
        tmp_path, plant_toml=BENCH, pumps=many_pumps(), on_hand=KITS, adopted=ADOPTED, fits=LASTING
    )
    do_on = advice.due.set_index("pump_id")["do_on"]
    (group,), (way,) = advised_groups(advice), follow(advice)
    names = records.pumps["pump_id"].to_numpy()[group.pumps]
    listed = (do_on[names] - records.plant.records_to) / pd.Timedelta(days=1)
    assert len(set(listed)) > 2
    assert np.floor(way.first_days).tolist() == listed.tolist()
    ahead = look_ahead(open_outlook(records), group)
    events = run_group(
        group, way, years=1.0, replicates=2, rng=np.random.default_rng(1), ahead=ahead
    )
    first = pd.Series(events.time * 365.25).groupby(events.pump).min()
    assert first.to_numpy() == pytest.approx(way.first_days)
    assert (events.position == PLANNED).all()
    jobs = list_jobs(group, way, events, 2, 200.0, ahead=ahead)
    known = jobs.since == 0.0
    assert np.sort(jobs.due[known]) == pytest.approx(np.sort(np.repeat(way.first_days, 2)))


def test_advice_that_the_due_list_does_not_follow_goes_by_age(tmp_path):
    _, advice = advise_small(tmp_path, plant_toml=BENCH, pumps=many_pumps(), adopted=ADOPTED)
    assert advice.advised[0] != advice.followed[0]
    assert advised(advice)[0].first_days is None
    assert follow(advice)[0].first_days is not None
