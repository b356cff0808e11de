"""Past advice rests on what was known then; what came since is told by later lives alone."""

import warnings

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter

from pumplife.cli import DONE, STOPPED, WRONG_CALL, main
from pumplife.records.cut import cut_records
from pumplife.records.read import join_records, read_written
from pumplife.rewind.later import Watched, expected_failures, realised_rate, survive_later
from pumplife.rewind.rewind import past_days, run_rewind
from pumplife.rewind.score import count_band, is_inside
from pumplife.study import run_study
from pumplife.weibull.draws import LifeDraws
from tests.plants import small_plant
from tests.rewind.fleet import day_of, fleet_tables, write_fleet

ADVICE = ["as_of", "service", "kit", "policy", "advised_interval", "failures_known",
          "predicted_cost_rate", "low", "high"]  # fmt: skip
LATE = 365 * 4 + 40  # a day after the second of the past days


@pytest.fixture(scope="module")
def tables():
    return fleet_tables(5)


@pytest.fixture(scope="module")
def rewound(tmp_path_factory, tables):
    return run_rewind(write_fleet(tmp_path_factory.mktemp("fleet") / "plant", tables))


def test_past_days_are_year_ends_with_two_years_before_them(rewound):
    assert list(rewound.years["as_of"].dt.strftime("%Y-%m-%d")) == [
        "2018-01-01", "2019-01-01", "2020-01-01", "2021-01-01"]  # fmt: skip


def test_early_records_leave_no_past_day(tmp_path):
    found = run_rewind(small_plant(tmp_path / "plant"))
    assert found.rows.empty
    assert "too short to look back" in found.sentence


def test_the_advice_is_that_of_a_folder_that_ends_then(tmp_path, tables, rewound):
    """An independent route: the files themselves are cut and studied."""
    end = "2020-01-01"
    cut = dict(tables)
    for name, column in (("rebuilds", "closed_on"), ("readings", "read_on")):
        cut[name] = [row for row in tables[name] if row[column] <= end]
    folder = write_fleet(tmp_path / "plant", cut)
    toml = (folder / "plant.toml").read_text(encoding="utf-8")
    (folder / "plant.toml").write_text(toml.replace("2022-01-01", end), encoding="utf-8")
    row = run_study(folder, results=()).tables["intervals"].iloc[0]
    past = rewound.rows[rewound.rows["as_of"] == end].iloc[0]
    assert past["advised_interval"] == row["interval"]
    assert past["predicted_cost_rate"] == row["cost_rate"]
    assert past["failures_known"] == row["failures"]


def change_ticket(tables):
    rows = [dict(row) for row in tables["rebuilds"]]
    for row in rows:
        if row["opened_on"] > day_of(LATE):
            row["failed_part"], row["reason"] = "ball", "breakdown"
    return tables | {"rebuilds": rows}


def drop_tickets(tables):
    kept = [row for row in tables["rebuilds"] if row["opened_on"] <= day_of(LATE)]
    return tables | {"rebuilds": kept}


def close_late(tables):
    """A ticket opened before the day and closed after it, and a finding on it."""
    late = {"rebuild_id": "L-1", "pump_id": "P-003", "reason": "breakdown", "kit": "FK"}
    dates = {"opened_on": "2019-12-20", "closed_on": "2020-01-10", "failed_part": "ball"}
    finding = {"rebuild_id": "l-1", "part": "ball", "found": "failed", "action": "renewed"}
    return tables | {"rebuilds": [*tables["rebuilds"], late | dates], "findings": [finding]}


def later_facts(tables):
    """Readings, prices, adopted intervals, moves and a retirement written afterwards."""
    readings = [row for row in tables["readings"] if row["read_on"] <= day_of(LATE)]
    pumps = [dict(row) for row in tables["pumps"]]
    pumps[3] |= {"retired_on": day_of(LATE + 50), "last_fluid_renewal_on": day_of(LATE)}
    pumps.append(pumps[0] | {"pump_id": "P-999", "commissioned_on": day_of(LATE)})
    kits = [*tables["kits"], tables["kits"][0] | {"unit_cost": 999, "valid_from": day_of(LATE)}]
    adopted = {"service": "slip", "side": "fluid", "interval": 500, "decided_by": "N. N."}
    moves = [{"pump_id": "P-004", "moved_on": day_of(LATE), "service": "other"}]
    return tables | {
        "readings": readings,
        "pumps": pumps,
        "kits": kits,
        "adopted": [adopted | {"decided_on": day_of(LATE)}],
        "moves": moves,
        "issued": [{"issued_on": day_of(LATE), "item": "FK", "quantity": 1, "pump_id": "P-002"}],
        "events": [{"happened_on": day_of(LATE), "what": "flood", "kind": "shock"}],
        "plan": [{"service": "slip", "from_on": day_of(LATE), "use_factor": 0.1}],
    }


@pytest.mark.parametrize("change", [change_ticket, drop_tickets, close_late, later_facts])
def test_what_was_written_later_leaves_advice_as_it_was(tmp_path, tables, rewound, change):
    again = run_rewind(write_fleet(tmp_path / "plant", change(tables)))

    def known(found):
        rows = found.rows[found.rows["as_of"] <= "2020-01-01"]
        return rows[ADVICE].to_csv(index=False)

    assert known(again) == known(rewound)
    assert again.rows.to_csv() != rewound.rows.to_csv()


def test_the_files_and_their_audit_stay_as_they_are(tmp_path, tables):
    written = read_written(write_fleet(tmp_path / "plant", tables))
    records = join_records(written)
    before = {name: frame.copy() for name, frame in written.tables.items()}
    rows = len(records.log.frame())
    cut = cut_records(written, pd.Timestamp("2019-01-01"))
    for name, frame in before.items():
        pd.testing.assert_frame_equal(frame, written.tables[name])
    assert len(records.log.frame()) == rows
    assert cut.table("rebuilds")["opened_on"].max() <= pd.Timestamp("2019-01-01")
    assert len(cut.table("rebuilds")) < len(records.table("rebuilds"))


def test_the_kit_of_a_pump_is_the_last_one_seen_by_then(tmp_path):
    tables = fleet_tables(6, pumps=2)
    other = tables["kits"][0] | {"kit": "FK-2"}
    contents = [row | {"kit": "FK-2"} for row in tables["kit_contents"]]
    ticket = {"rebuild_id": "X", "pump_id": "P-000", "opened_on": "2021-06-01", "kit": "FK-2"}
    tables["rebuilds"].append(ticket | {"reason": "planned", "failed_part": "none"})
    tables["pumps"][0] |= {"fluid_kit": "FK-2"}
    tables |= {"kits": [*tables["kits"], other]}
    tables |= {"kit_contents": [*tables["kit_contents"], *contents]}
    written = read_written(write_fleet(tmp_path / "plant", tables))
    for day, kit in (("2021-01-01", "FK"), ("2021-12-01", "FK-2")):
        assert cut_records(written, pd.Timestamp(day)).pumps["fluid_kit"].iloc[0] == kit


def test_practice_that_renews_before_the_advice_hides_it(tmp_path):
    """With every side renewed at 2,000 h, no later life reaches the advised age."""
    found = run_rewind(write_fleet(tmp_path / "plant", fleet_tables(7, planned=2000.0)))
    finite = found.rows[found.rows["advised_interval"] > 2100.0]
    assert len(finite) > 0
    assert set(finite["testable"]) == {"no"}
    assert finite["why_not"].str.contains("practice hides it").all()
    assert finite["realised_cost_rate"].isna().all()


def test_failures_come_as_predicted(rewound):
    """Four bands of 90 %, of overlapping years: one may miss."""
    assert rewound.years["failures_inside"].eq("yes").sum() >= 3
    assert set(rewound.rows["testable"]) == {"yes", "no"}


def watched(rng, lives=400):
    since = np.where(rng.random(lives) < 0.5, 0.0, rng.uniform(0, 800, lives))
    until = since + rng.uniform(1.0, 1500.0, lives)
    failed = rng.random(lives) < 0.6
    return Watched(
        pump=rng.integers(0, 20, lives),
        part=np.zeros(lives, np.int64),
        since=since,
        until=until,
        last_sound=until,
        failed=failed,
        renewed=~failed,
        weight=rng.choice([1.0, 0.25], lives),
    )


def test_steps_are_those_of_lifelines_with_late_entry():
    seen = watched(np.random.default_rng(3))
    later = survive_later(seen, np.array([1.0]), np.ones((1, 20)))
    fit = KaplanMeierFitter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # lifelines warns of weights that are no whole numbers
        fit.fit(seen.until, seen.failed, entry=seen.since, weights=seen.weight)
    ours = np.exp(np.cumsum(later.log_step[0, 0]))
    np.testing.assert_allclose(ours, fit.predict(later.age).to_numpy(), rtol=1e-9, atol=1e-12)


def test_the_cost_rate_of_three_sides_by_hand():
    """Failures at 2 and 4 of three sides, renewal at 5: S is 1, 2/3, 1/3."""
    none = np.array([2.0, 4.0, 5.0])
    seen = Watched(
        pump=np.arange(3),
        part=np.zeros(3, np.int64),
        since=np.zeros(3),
        until=none,
        last_sound=none,
        failed=np.array([True, True, False]),
        renewed=np.array([False, False, True]),
        weight=np.ones(3),
    )
    later = survive_later(seen, np.array([1.0]), np.ones((1, 3)))
    rate = realised_rate(later, 5.0, 10.0, np.array([100.0]))
    assert rate[0] == pytest.approx((100 * 2 / 3 + 10 / 3) / (2 + 2 * 2 / 3 + 1 / 3))


def test_expected_failures_are_the_hazard_lived_through():
    """Exponential lives of mean 1,000: the watched time over it, found failures a little less."""
    ones = np.ones((1, 3))
    lives = LifeDraws(early_share=0 * ones, early_scale=ones, shape=ones, scale=1000.0 * ones)
    seen = watched(np.random.default_rng(4))
    hours = float(seen.weight @ (seen.until - seen.since))
    np.testing.assert_allclose(expected_failures(lives, seen), hours / 1000.0, rtol=1e-12)


def test_a_count_in_no_doubt_has_the_poisson_band():
    """Poisson of mean 10: 5 % and 95 % quantiles are 5 and 15 (scipy.stats.poisson.ppf)."""
    assert count_band(np.full(8, 10.0)) == (5.0, 15.0)


def test_inside_allows_for_the_error_of_what_later_lives_tell():
    draws = np.linspace(90.0, 110.0, 201)
    assert is_inside(108.0, draws, 0.0)
    assert not is_inside(115.0, draws, 0.0)
    assert is_inside(115.0, draws, 0.1)


def test_past_days_need_the_window(tmp_path):
    plant = read_written(write_fleet(tmp_path / "plant", fleet_tables(8, pumps=1))).plant
    assert len(past_days(plant)) == 4


def test_the_command_line_says_why_there_is_nothing(tmp_path, capsys):
    folder = str(small_plant(tmp_path / "plant"))
    assert main(["rewind", folder, "--out", str(tmp_path / "rewind.csv")]) == STOPPED
    assert "too short to look back" in capsys.readouterr().out
    assert main(["rewind", folder, "--out", str(tmp_path)]) == WRONG_CALL
    assert "is no .csv file" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(["challenge", folder, "--group", "0", "--interval", "soon"])


def test_the_command_line_challenges(tmp_path, capsys, tables):
    folder = str(write_fleet(tmp_path / "plant", tables))
    assert main(["challenge", folder, "--group", "slip", "--interval", "9000"]) == DONE
    assert "The nearest single change" in capsys.readouterr().out
