"""Kits handed out to planned work: the first to expire first, none that expires before the work."""

import numpy as np
import pandas as pd

from pumplife.policy.ready import hand_out_kits
from pumplife.records.plant import to_day
from pumplife.records.read import read_records
from tests.plants import LAST_DAY, small_plant, small_tables


def sources(folder, ends_in, due_in, limit_in=np.inf, **tables):
    """Where the kit of each job comes from; CR may lie seven years, bags end in so many days."""
    cured = [LAST_DAY - pd.DateOffset(years=7) + pd.Timedelta(days=days) for days in ends_in]
    shelf = [
        {"store": "works", "item": "FK", "quantity": 1, "cure_date": f"{day:%Y-%m-%d}"}
        for day in cured
    ]
    records = read_records(small_plant(folder, on_hand=shelf, **tables))
    due = pd.DataFrame(
        {
            "store": "works",
            "kit": "FK",
            "due_day": to_day(LAST_DAY) + np.array(due_in, float),
            "hard_day": to_day(LAST_DAY) + np.array(limit_in, float),
            "cost_of_waiting": 1.0,
            "pump_id": [f"P-{n}" for n in range(len(due_in))],
        }
    )
    return hand_out_kits(records, due)["kit_source"].tolist()


def test_expired_kits_are_not_handed_out(tmp_path):
    assert sources(tmp_path, [-400, -1], [5, 10]) == ["to order", "to order"]


def test_the_day_of_the_work_counts_and_the_first_to_expire_goes_first(tmp_path):
    # ends 20 serves the job on 10, ends 30 none (the next job is on 60), ends 500 that one
    assert sources(tmp_path, [500, 20, 30], [10, 60, 90]) == ["shelf", "shelf", "to order"]


def test_a_kit_too_old_for_one_job_is_no_loss_to_the_next(tmp_path):
    assert sources(tmp_path, [5, 300], [40, 50]) == ["shelf", "to order"]


def test_many_jobs_take_pieces_as_one_by_one(tmp_path):
    rng = np.random.default_rng(6)
    ends, due = (
        np.sort(rng.integers(20, 400, 14)).tolist(),
        (rng.integers(0, 500, 20) + 0.5).tolist(),
    )
    left, taken = list(ends), {}
    for job in np.argsort(due, kind="stable").tolist():
        left = [end for end in left if end >= due[job]]
        taken[job] = "shelf" if left else "to order"
        left = left[1:]
    assert sources(tmp_path, ends, due) == [taken[job] for job in range(len(due))]
    assert {"shelf", "to order"} == set(taken.values())


def test_what_a_limit_does_not_let_wait_chooses_first(tmp_path):
    """A kit ordered today is there in 20 days: a limit on day 15 leaves no time for that."""
    assert sources(tmp_path, [500], [10, 12], [np.inf, 15]) == ["to order", "shelf"]
    assert sources(tmp_path, [500], [10, 12], [np.inf, 90]) == ["shelf", "to order"]


def test_what_the_first_chooser_could_not_use_is_left_for_the_others(tmp_path):
    # the bag that ends on 11 is no use on 12, but on 10
    assert sources(tmp_path, [11, 500], [10, 12], [np.inf, 15]) == ["shelf", "shelf"]


def test_what_is_under_way_counts_though_late_where_nobody_knows_a_new_order_to_be_sooner(tmp_path):
    on = f"{LAST_DAY + pd.Timedelta(days=40):%Y-%m-%d}"
    coming = [{"store": "works", "item": "FK", "quantity": 1, "expected_on": on}]
    kits = [
        {name: value for name, value in row.items() if "lead" not in name}
        for row in small_tables()["kits"]
    ]
    known = sources(tmp_path / "known", [500], [10, 12], on_order=coming)
    assert known == ["shelf", "to order"]
    unknown = sources(tmp_path / "unknown", [500], [10, 12], on_order=coming, kits=kits)
    assert unknown == ["shelf", "order"]
