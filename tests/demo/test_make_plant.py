"""The invented plant: repeatable, clean when asked, and true to its own truth."""

import cProfile
import json
import pstats
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from invented.fleet import build_fleet
from invented.truth import PART, Truth, default_truth, table_of_lives
from make_plant import HERE, STORE_FILE, STORE_HEADINGS, Plant, main, make_plant, write_plant
from scipy.optimize import minimize
from scipy.stats import chi2

DATES = {
    "pumps": ["commissioned_on", "retired_on", "last_fluid_renewal_on", "last_air_renewal_on"],
    "rebuilds": ["opened_on", "happened_on", "closed_on"],
    "issued": ["issued_on"],
    "readings": ["read_on"],
    "moves": ["moved_on"],
    "on_hand": ["cure_date"],
}


@pytest.fixture(scope="module")
def clean() -> Plant:
    return make_plant(22, faults=False)


@pytest.fixture(scope="module")
def spoilt() -> Plant:
    return make_plant(22)


def files_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


# ---- repeatable ---------------------------------------------------------------------------------


@pytest.mark.parametrize("faults", [True, False])
def test_same_seed_same_bytes(tmp_path: Path, faults: bool) -> None:
    first, second = (
        files_of(write_plant(make_plant(7, faults=faults), tmp_path / name)) for name in "ab"
    )
    assert first == second
    other = files_of(write_plant(make_plant(8, faults=faults), tmp_path / "c"))
    assert other["rebuilds.csv"] != first["rebuilds.csv"]


def test_the_committed_demo_is_what_the_script_writes(tmp_path: Path, spoilt: Plant) -> None:
    for name, data in files_of(write_plant(spoilt, tmp_path)).items():
        assert (HERE / name).read_bytes() == data, f"{name}: run data/demo/make_plant.py again"


def test_the_committed_demo_is_small() -> None:
    assert sum(p.stat().st_size for p in HERE.rglob("*.*") if "__pycache__" not in str(p)) < 3e6


def test_the_command_writes_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["--out", str(tmp_path / "p"), "--seed", "3", "--no-faults", "--times", "2"])
    assert "faults False: pumps 180" in capsys.readouterr().out
    assert len(pd.read_csv(tmp_path / "p" / "pumps.csv")) == 180
    assert (tmp_path / "p" / "issued.csv").exists()
    assert "invented" in (tmp_path / "p" / "README.md").read_text()


# ---- clean records ------------------------------------------------------------------------------


def test_clean_dates_can_all_be_read(clean: Plant) -> None:
    for name, columns in DATES.items():
        for column in columns:
            cells = clean.tables[name][column]
            pd.to_datetime(cells[cells != ""], format="%Y-%m-%d")


def test_clean_keys_are_unique(clean: Plant) -> None:
    assert not clean.tables["rebuilds"].duplicated(["rebuild_id", "pump_id", "kit"]).any()
    assert clean.tables["pumps"].pump_id.is_unique
    assert clean.tables["parts"].part_no.is_unique
    assert not clean.tables["kit_contents"].duplicated(["kit", "part_no"]).any()


def test_clean_references_hold(clean: Plant) -> None:
    t = clean.tables
    pumps, kits, parts = set(t["pumps"].pump_id), set(t["kits"].kit), set(t["parts"].part_no)
    for name in ("rebuilds", "findings", "issued", "readings", "moves"):
        assert set(t[name].pump_id) <= pumps, name
    assert set(t["findings"].rebuild_id) <= set(t["rebuilds"].rebuild_id)
    assert set(t["rebuilds"].kit) <= kits | {"none"}
    assert set(t["pumps"].fluid_kit) | set(t["pumps"].air_kit) <= kits
    assert set(t["kit_contents"].kit) == kits
    assert set(t["kit_contents"].part_no) <= parts
    assert set(t["issued"].item) <= kits | parts
    assert set(t["on_hand"].item) | set(t["on_order"].item) <= kits | parts


def test_clean_tickets_lie_in_the_window_and_name_a_part(clean: Plant) -> None:
    rebuilds = clean.tables["rebuilds"]
    assert rebuilds.opened_on.between("2019-01-01", "2025-06-30").all()
    assert set(rebuilds.reason) == {
        "breakdown", "planned", "inspection", "stoppage", "modification"
    }  # fmt: skip
    assert set(rebuilds.failed_part[rebuilds.reason == "breakdown"]) <= set(PART)


def test_clean_meters_never_run_backwards(clean: Plant) -> None:
    readings = clean.tables["readings"]
    assert (readings.groupby(["pump_id", "meter_id"]).reading.diff().dropna() >= 0).all()
    per_pump = readings.groupby("pump_id")
    exchanged = readings[readings.new_meter_start.notna()].pump_id
    assert len(exchanged) > 2
    assert set(exchanged) == set(per_pump.meter_id.nunique()[lambda n: n == 2].index)


def test_clean_kits_hold_two_diaphragms_four_balls_four_seats(clean: Plant) -> None:
    contents = clean.tables["kit_contents"].merge(clean.tables["parts"], on="part_no")
    worn = contents[(contents.side_x if "side_x" in contents else contents.side) == "fluid"]
    counts = worn.pivot_table(index="kit", columns="part", values="quantity", aggfunc="sum")
    assert (counts[["diaphragm", "ball", "seat"]] == [2, 4, 4]).all(axis=None)


# ---- counts -------------------------------------------------------------------------------------


def test_the_demo_has_the_size_it_should_have(spoilt: Plant) -> None:
    failures = spoilt.truth["failures"]
    assert len(spoilt.tables["pumps"]) == 90
    assert 500 <= (failures.seen_at_once == "yes").sum() <= 900
    assert 20 <= (failures.seen_at_once == "no").sum() <= 90
    assert 7_000 <= len(spoilt.tables["readings"]) <= 11_000
    groups = failures.groupby(["service", "part", "material"]).size()
    assert (groups >= 50).sum() >= 2
    assert ((groups >= 1) & (groups <= 4)).sum() >= 2
    assert len(groups) < len(table_of_lives())  # some groups never failed


def test_some_pumps_are_older_than_the_window_and_some_younger(spoilt: Plant) -> None:
    pumps = spoilt.tables["pumps"]
    assert 0.6 < (pumps.commissioned_on < "2019-01-01").mean() < 0.9
    old = pumps[pumps.commissioned_on < "2019-01-01"]
    assert 0.5 < (old.last_fluid_renewal_on != "").mean() < 0.95
    assert (pumps.retired_on != "").sum() >= 1


# ---- faults -------------------------------------------------------------------------------------


def test_few_tickets_have_to_be_set_aside(spoilt: Plant) -> None:
    rebuilds = spoilt.tables["rebuilds"]
    codes = tomllib.loads(spoilt.plant_toml)["codes"]["rebuilds"]
    known = set(codes["reason"]) | set(codes["reason"].values()) | {"stoppage", "modification"}
    useless = ~rebuilds.reason.isin(known)
    useless |= pd.to_datetime(rebuilds.opened_on, format="%Y-%m-%d", errors="coerce").isna()
    useless |= ~rebuilds.pump_id.isin(set(spoilt.tables["pumps"].pump_id) | {""})
    useless |= rebuilds.duplicated(["rebuild_id", "pump_id", "kit"])
    assert 0.01 < useless.mean() < 0.12


def test_every_own_word_is_declared(spoilt: Plant) -> None:
    codes = tomllib.loads(spoilt.plant_toml)["codes"]["rebuilds"]["failed_part"]
    written = set(spoilt.tables["rebuilds"].failed_part) - {"", "none"}
    assert written - set(codes) == set(PART)
    assert set(codes) <= written
    assert set(codes.values()) == set(PART)


def test_every_kind_of_fault_is_there(spoilt: Plant, clean: Plant) -> None:
    t = spoilt.tables
    assert (t["pumps"].meter_unit == "").mean() == pytest.approx(0.15, abs=0.1)
    assert (t["rebuilds"].failed_part == "").any()
    assert (t["rebuilds"].kit == "").any()
    assert ((t["rebuilds"].pump_id == "") & (t["rebuilds"].location != "")).any()
    assert (t["rebuilds"].pump_id == "P-7O1").any()
    assert (t["rebuilds"].completes.fillna("") != "").any()
    assert (t["rebuilds"].done == "no").any()
    assert (t["rebuilds"].opened_on < "2019-01-01").any()
    repeats = t["rebuilds"].duplicated(["rebuild_id", "pump_id", "kit"])
    assert 0 < t["rebuilds"].duplicated().sum() < repeats.sum()  # some repeats differ
    assert ((t["findings"].found == "failed") & (t["findings"].action == "kept")).sum() == 2
    assert (t["findings"].found == "worn").any()
    assert (t["issued"].quantity < 0).any()
    assert set(t["readings"].unit) == {"hours", "cycles", "strokes"}
    assert t["readings"].digits.notna().any()
    assert (t["readings"].groupby(["pump_id", "meter_id"]).reading.diff() < 0).any()
    assert not (clean.tables["rebuilds"].failed_part == "").any()


def test_the_stores_file_is_in_the_plants_own_layout(tmp_path: Path, spoilt: Plant) -> None:
    write_plant(spoilt, tmp_path)
    settings = tomllib.loads((tmp_path / "plant.toml").read_text(encoding="utf-8"))
    assert settings["files"]["issued"] == STORE_FILE
    table = pd.read_csv(tmp_path / STORE_FILE, sep=";", encoding="utf-8-sig")
    assert list(table.columns) == list(STORE_HEADINGS.values())
    assert settings["columns"]["issued"] == {own: ours for ours, own in STORE_HEADINGS.items()}
    dates = pd.to_datetime(table.Datum, format="%d.%m.%Y").dt.strftime("%Y-%m-%d")
    assert dates.tolist() == spoilt.tables["issued"].issued_on.tolist()


# ---- truth --------------------------------------------------------------------------------------


def negative_log_likelihood(q: np.ndarray, life: np.ndarray, died: np.ndarray) -> float:
    """Weibull, exact and suspended lives; q = (log shape, log scale)."""
    shape, z = np.exp(q[0]), np.log(life) - q[1]
    return float(np.exp(shape * z).sum() - (died * (q[0] - np.log(life) + shape * z)).sum())


def direct_fits(plant: Plant) -> pd.DataFrame:
    """Each group's failures, fitted shape and scale, and 2 log(L(fit) / L(truth))."""
    lives, rows = plant.truth["lives"], []
    spans = (lives[["end_usage", "death_usage"]].min(axis=1) - lives.start_usage).clip(lower=1e-3)
    unseen = lives.hidden & (lives.death_usage < lives.end_usage)
    lives = lives.assign(life=spans, died=lives.outcome.isin(["failed", "found failed"]) | unseen)
    for true in plant.truth["settings"]["lives"]:
        mine = lives[(lives[["service", "part", "material"]] == pd.Series(true)[
            ["service", "part", "material"]]).all(axis=1)]  # fmt: skip
        data = mine.life.to_numpy(), mine.died.to_numpy()
        if data[1].sum() < 8:
            continue
        start = np.log([true["shape"], true["scale"]])
        best = minimize(negative_log_likelihood, start, args=data, method="Nelder-Mead")
        ratio = 2 * (negative_log_likelihood(start, *data) - best.fun)
        rows.append((true["part"], data[1].sum(), *np.exp(best.x), ratio))
    return pd.DataFrame(rows, columns=["part", "failures", "shape", "scale", "ratio"])


def test_a_direct_fit_of_the_true_lives_finds_the_truth() -> None:
    """Likelihood ratios at the truth, summed over groups, are chi-squared with two each."""
    fits = direct_fits(make_plant(11, faults=False, scale=4))
    assert len(fits) >= 30
    assert fits.ratio.max() < chi2.ppf(1 - 1e-4, 2)
    assert chi2.ppf(0.001, 2 * len(fits)) < fits.ratio.sum() < chi2.ppf(0.999, 2 * len(fits))


def test_a_wrong_truth_would_be_noticed() -> None:
    wrong = table_of_lives()
    wrong["shape"] *= 1.15
    plant = make_plant(11, faults=False, scale=4)
    plant.truth["settings"]["lives"] = wrong.to_dict(orient="records")
    fits = direct_fits(plant)
    assert fits.ratio.sum() > chi2.ppf(0.999, 2 * len(fits))


def test_early_lives_are_mis_fitted_diaphragms_outside_hazardous_services() -> None:
    plant = make_plant(5, scale=4)
    lives = plant.truth["lives"]
    able = (lives.part == "diaphragm") & lives.service.isin(["body slip", "glaze", "press sludge"])
    assert not lives[~able].early.any()
    share, n = lives[able].early.mean(), able.sum()
    assert 0.04 - 3 * np.sqrt(0.04 / n) < share < 0.065  # the bad months come on top


def test_failures_belong_to_tickets_of_their_pump(clean: Plant) -> None:
    failures, rebuilds = clean.truth["failures"], clean.tables["rebuilds"]
    together = failures.merge(rebuilds.drop_duplicates("rebuild_id"), on="rebuild_id")
    assert len(together) == len(failures)
    assert (together.pump_id_x == together.pump_id_y).all()
    seen = together[(together.seen_at_once == "yes") & (together.reason == "breakdown")]
    happened = seen.happened_on.where(seen.happened_on != "", seen.opened_on)
    assert (happened == seen.day).all()
    assert (seen.part == seen.failed_part).all()
    hidden = together[together.seen_at_once == "no"]
    assert (hidden.day <= hidden.opened_on).all()


def test_lives_of_a_position_follow_each_other_without_gap(clean: Plant) -> None:
    lives = clean.truth["lives"].sort_values(["pump", "place", "start_day"])
    place = lives.groupby(["pump", "place"])
    gap = lives.start_usage - place.end_usage.shift()
    np.testing.assert_allclose(gap.dropna(), 0, atol=1e-6)
    assert (place.outcome.last() == "running").all()


def test_usage_and_day_are_each_others_inverse() -> None:
    fleet = build_fleet(1, np.random.default_rng(3))
    pump = np.arange(len(fleet))
    for day in (17_100.0, 18_500.0, 20_000.0):
        usage = fleet.usage(pump, day)
        moving = (day < fleet.stored) | (day > fleet.returned)
        np.testing.assert_allclose(fleet.day(pump, usage)[moving], day, atol=1e-4)
    assert np.isinf(fleet.day(pump, np.full(len(fleet), 1e9))).all()


def test_meters_tell_the_true_usage(clean: Plant) -> None:
    """Hours since commissioning from the first meter's first reading to its last."""
    fleet = build_fleet(1, np.random.default_rng(np.random.SeedSequence(22).spawn(5)[0]))
    readings = clean.tables["readings"].merge(clean.tables["pumps"][["pump_id", "cycles_per_h"]])
    days = pd.to_datetime(readings.read_on).astype("datetime64[s]").astype("int64") / 86_400
    pump = readings.pump_id.str[2:].astype(int).to_numpy() - 1
    per_hour = readings.unit.map({"hours": 1.0, "cycles": 1.0, "strokes": 2.0})
    per_hour *= readings.cycles_per_h.fillna(1.0)
    hours = readings.reading * readings.multiplier.fillna(1.0) / per_hour
    by_meter = readings.meter_id
    run = hours.groupby(by_meter).last() - hours.groupby(by_meter).first()
    true = pd.Series(fleet.usage(pump, days.to_numpy())).groupby(by_meter)
    start = readings.new_meter_start.notna()  # the old meter's last
    assert start.sum() > 2
    np.testing.assert_allclose(run, true.last() - true.first(), atol=1.1)


def test_truth_can_be_set_from_outside() -> None:
    short = table_of_lives().assign(scale=lambda t: t.scale / 2)
    plant = make_plant(2, faults=False, truth=Truth(lives=short, early_share=0, batch_share=0))
    usual = make_plant(2, faults=False)
    assert len(plant.truth["failures"]) > 1.8 * len(usual.truth["failures"])
    assert plant.truth["settings"]["lives"][0]["scale"] == short.scale[0]
    assert default_truth(faults=False).early_share == 0


def test_truth_file_says_what_the_plant_was_made_from(tmp_path: Path, spoilt: Plant) -> None:
    write_plant(spoilt, tmp_path)
    told = json.loads((tmp_path / "truth" / "truth.json").read_text())
    assert pd.DataFrame(told["lives"]).equals(table_of_lives())
    assert told["early_share"] == 0.04
    failures = pd.read_csv(tmp_path / "truth" / "true_failures.csv")
    assert len(failures) == len(spoilt.truth["failures"])
    settings = tomllib.loads((tmp_path / "plant.toml").read_text(encoding="utf-8"))
    costs = {k: v for k, v in settings["costs"].items() if k != "service"}
    assert costs == told["costs"]
    assert settings["costs"]["service"] == told["service_costs"]
    assert settings["work"] == told["work"]


def test_fifty_plants_are_made_in_arrays() -> None:
    """A loop over pumps, tickets or readings would make some fifty times the calls of one plant."""
    made, calls = {}, {}
    for scale in (1, 50):
        profile = cProfile.Profile()
        made[scale] = profile.runcall(make_plant, 1, scale=scale)
        calls[scale] = pstats.Stats(profile).total_calls
    assert calls[50] < 10 * calls[1]
    plant = made[50]
    assert len(plant.tables["pumps"]) == 4_500
    assert len(plant.tables["readings"]) > 400_000
