"""Trials of a plant's folder: followed, refused, weighed in money, proposed."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pumplife.materials.facts import gather_every, gather_facts, say_blank
from pumplife.materials.money import Choice
from pumplife.materials.releases import compare_releases, release_as_often
from pumplife.materials.trial_follow import find_harm, follow_trials
from pumplife.materials.trial_lives import know_until, score_until
from pumplife.materials.trial_plans import is_told
from pumplife.materials.trial_worth import RatioBelief, Stake, believe, weigh_trial
from pumplife.records.audit import AuditLog
from pumplife.report.figures_trials import (
    plot_progress,
    plot_trial_power,
    progress_table,
    trial_power_table,
)
from pumplife.report.headings import HEADINGS
from pumplife.report.headings_trials import OF_TRIALS
from pumplife.report.style import read_title
from pumplife.report.words import find_heading, name_units
from pumplife.weibull.draws import LifeDraws
from tests.materials.conftest import PUMPS, compared

TRIAL = {
    "trial_id": "T-1",
    "part": "diaphragm",
    "material": "TPV",
    "variant": "",
    "reference": "CR",
    "service": "slip",
    "started_on": pd.Timestamp("2020-01-01"),
    "ends_on": pd.Timestamp("2022-12-31"),
    "wanted_ratio": 2.0,
    "looks": 3.0,
    "endpoint": "",
    "row": 2,
    "file": "trials.csv",
}
ARMS = [(number, "TPV" if number % 2 else "CR") for number in range(PUMPS)]


def records_of(study, trial=TRIAL, arms=ARMS, trial_id="T-1"):
    """The study's records with one trial, a new audit."""
    pumps = pd.DataFrame(arms, columns=["pump", "arm", "pair"][: len(arms[0])])
    pumps = pumps.assign(
        trial_id=trial_id,
        pump_id=[f"P-{one}" for one in pumps["pump"]],
        row=np.arange(len(pumps)) + 2,
        file="trial_pumps.csv",
        pair=pumps["pair"].fillna("") if "pair" in pumps else "",
    )
    tables = {**study.records.tables, "trials": pd.DataFrame([trial]), "trial_pumps": pumps}
    return replace(study.records, tables=tables, log=AuditLog())


def follow(study, change=None, arms=ARMS, facts=None, trial_id="T-1"):
    """Row of the trial, its looks and the audit."""
    records = records_of(study, {**TRIAL, **(change or {})}, arms, trial_id)
    facts = gather_facts(study.fits, study.lives, study.duty) if facts is None else facts
    found = follow_trials(records, study.duty, facts, study.fits)
    return found["trials"].iloc[0], found["trial_looks"], records.log.frame()


def test_a_longer_life_is_shown_at_the_look_that_shows_it(study):
    row, looks, audit = follow(study)
    assert audit.empty
    assert row["decision"] == "shown"
    assert (row["pumps"], row["reference_pumps"]) == (8, 8)
    assert row["events"] == row["failures"] + row["reference_failures"]
    assert row["ratio_low"] > 1.0
    assert row["looks_used"] == len(looks) < 3
    last = looks.iloc[-1]
    assert last["score"] >= last["bound"]
    assert (looks["decision"].iloc[:-1] == "go on").all()
    assert pd.isna(row["expected_end"])
    assert "score" in row["why"]


def test_looks_are_those_of_the_day_whatever_came_later(study):
    """Facts cut at the day of the first look give that look to the last digit."""
    _, looks, _ = follow(study)
    first = looks.iloc[0]
    facts = gather_facts(study.fits, study.lives, study.duty)
    facts = facts[facts["part"] == "diaphragm"]
    cut = know_until(facts, first["looked_on"])
    score = score_until(cut, "TPV", first["looked_on"])
    assert score == pytest.approx(first["score"], abs=1e-9)
    assert looks["events"].is_monotonic_increasing
    assert (looks["events"] >= looks["share"] * looks["events_needed"] - 1e-9).all()


def test_the_material_that_lives_shorter_is_never_shown(study):
    """The other way round the score changes its sign, and the trial is futile."""
    swapped = {"material": "CR", "reference": "TPV"}
    row, looks, _ = follow(study, swapped)
    assert row["decision"] == "futile"
    assert (looks["score"] < 0.0).all()
    forward = follow(study)[0]
    assert row["life_ratio"] == pytest.approx(1.0 / forward["life_ratio"], rel=1e-6)


def test_a_trial_without_failures_enough_goes_on_to_an_expected_end(study):
    row, looks, _ = follow(study, {"wanted_ratio": 1.25})
    assert row["decision"] == "go on"
    assert (looks["decision"] == "go on").all()
    assert row["expected_end"] == TRIAL["ends_on"]
    assert row["events_needed"] > row["events"]


def test_a_trial_whose_end_has_come_is_judged_there(study):
    ends = {"ends_on": pd.Timestamp("2020-12-01"), "wanted_ratio": 1.3}
    row, looks, _ = follow(study, ends)
    assert row["decision"] in ("ended, not shown", "shown")
    assert looks.iloc[-1]["looked_on"] == ends["ends_on"]
    assert looks.iloc[-1]["spent"] == pytest.approx(0.05)


def test_a_trial_that_has_not_begun(study):
    row, _, audit = follow(study, {"started_on": pd.Timestamp("2022-06-01")})
    assert row["decision"] == "not begun"
    assert audit.empty


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"part": "rotor"}, "no part with lives is called 'rotor'"),
        ({"reference": "TPV"}, "TPV is compared with itself"),
        ({"ends_on": pd.Timestamp("2019-01-01")}, "before its start on 2020-01-01"),
        ({"wanted_ratio": np.nan}, "wanted_ratio isn't a life ratio above 1"),
        ({"wanted_ratio": 0.8}, "wanted_ratio isn't a life ratio above 1"),
    ],
)
def test_a_trial_that_cannot_be_judged_says_why(study, change, words):
    row, looks, audit = follow(study, change)
    assert row["decision"] == "can't be judged"
    assert words in row["why"]
    assert looks.empty
    told = audit[audit["rule"] == "trial_row"].iloc[0]
    assert words in told["what"]
    assert (told["table"], told["row"]) == ("trials", 2)


def test_an_empty_arm_and_an_unknown_code_are_said(study):
    row, _, audit = follow(study, {"material": "Q7"}, arms=[(0, "CR"), (2, "CR")])
    assert "no pump carries Q7" in row["why"]
    assert set(audit["rule"]) == {"material_code", "trial_row"}


@pytest.mark.parametrize(
    ("arm", "words"),
    [
        ("both", "share a rod"),
        ("blue", "neither of the trial's two materials"),
    ],
)
def test_pumps_in_arms_that_cannot_be_are_set_aside(study, arm, words):
    row, _, audit = follow(study, arms=[*ARMS[:-1], (PUMPS - 1, arm)])
    assert row["pumps"] == 7
    told = audit[audit["rule"] == "trial_pump"].iloc[0]
    assert words in told["what"]
    assert told["pump_id"] == f"P-{PUMPS - 1}"
    assert told["row"] == PUMPS + 1


def test_balls_of_both_materials_may_share_a_pump(study):
    row, _, audit = follow(study, {"part": "ball"}, arms=[(number, "both") for number in range(4)])
    assert (row["pumps"], row["reference_pumps"]) == (4, 4)
    assert "trial_pump" not in set(audit["rule"])


def test_pumps_of_no_trial_elsewhere_or_with_another_material_are_said(study):
    _, _, audit = follow(study, trial_id="T-9")
    assert audit["what"].str.contains("doesn't hold").sum() == PUMPS
    _, _, audit = follow(study, {"service": "glaze"})
    assert (audit["rule"] == "trial_service").sum() == PUMPS
    swapped = [(0, "TPV"), (1, "CR"), *ARMS[2:]]
    row, _, audit = follow(study, arms=swapped)
    told = audit[audit["rule"] == "trial_material"]
    assert len(told) == 2
    assert told["consequence"].eq("They don't count in the trial.").all()
    assert row["events"] < follow(study)[0]["events"]


def test_releases_beyond_what_the_reference_would_have_had_stop_a_trial():
    """Ten failures where the reference expects some 2.5: 2^10 exp(-2.5) is 84; five of them at
    most reach 2^5 exp(-1.2) = 9.6."""
    one = np.ones(10)
    start = pd.Timestamp("2020-01-01") + pd.to_timedelta(20.0 * np.arange(10), "D")
    lives = pd.DataFrame({"start": start, "end": start + pd.Timedelta(days=50), "weight": one})
    lives = lives.assign(lower=250.0, upper=250.0, entry=0.0, failures=1.0)
    life = LifeDraws(early_share=0 * one, early_scale=one, shape=one, scale=1000.0 * one)
    day, evidence = find_harm(lives, np.ones(10, dtype=bool), life)
    assert day is not None
    assert evidence >= 20.0
    assert lives["end"].iloc[4] < day <= lives["end"].iloc[-1]
    day, evidence = find_harm(lives.iloc[:5], np.ones(5, dtype=bool), life)
    assert day is None
    assert evidence < 20.0


def belief_at(log_ratio):
    """A ratio that is known."""
    return RatioBelief(log_ratio=np.array([log_ratio, log_ratio + 1e-9]), chance=np.full(2, 0.5))


def test_a_trial_of_what_is_known_saves_nothing():
    for saved in (2.0, -2.0):
        stake = Stake(belief=belief_at(0.4), saved=np.full(2, saved), usage=100.0, years=5.0,
                      discount=0.0)  # fmt: skip
        assert stake.most_a_trial_saves == pytest.approx(0.0)
        worth = weigh_trial(stake, error=0.2, reach=1.7, tried=50.0, takes=1.0, setup=10.0)
        assert worth.saves <= 1e-9
        assert worth.costs == pytest.approx(10.0 - 50.0 * saved)


def test_what_a_trial_saves_by_hand():
    """Half the chance of saving 1 or losing 3 a unit, 10 units a year for 4 years: today nothing is
    changed; to know would save 0.5 x 40; a trial of a year that never errs 0.5 x 30."""
    belief = RatioBelief(log_ratio=np.array([-1.0, 1.0]), chance=np.full(2, 0.5))
    stake = Stake(belief=belief, saved=np.array([-3.0, 1.0]), usage=10.0, years=4.0, discount=0.0)
    assert stake.decided_now == 0.0
    assert stake.most_a_trial_saves == pytest.approx(20.0)
    worth = weigh_trial(stake, error=1e-3, reach=1.645, tried=2.0, takes=1.0, setup=5.0)
    assert worth.saves == pytest.approx(15.0)
    assert worth.costs == pytest.approx(5.0 + 2.0)
    assert worth.gain == pytest.approx(8.0)
    later = replace(stake, discount=0.1)
    assert later.worth_from(0.0) == pytest.approx((1.0 - 1.1**-4) / np.log(1.1))


def test_what_is_known_of_a_ratio_is_drawn_towards_one():
    plain = believe(None, 0.35, 2.5)
    low, middle, high = plain.quantile([0.05, 0.5, 0.95])
    assert middle == pytest.approx(0.0, abs=1e-9)
    assert np.exp([low, high]) == pytest.approx([0.56, 1.78], abs=0.02)


def test_belief_takes_in_a_bound_without_a_failure(study):
    pairs = [one for one in compared(study).pairs if one.part == "diaphragm" and one.service]
    ratio = replace(pairs[0].ratio, estimate=np.nan, low=np.log(1.5), high=np.inf)
    bounded = believe(replace(pairs[0], ratio=ratio), 0.35, 2.5)
    assert bounded.quantile([0.5])[0] > 0.2
    ratio = replace(ratio, low=-np.inf, high=-np.log(1.5))
    assert believe(replace(pairs[0], ratio=ratio), 0.35, 2.5).quantile([0.5])[0] < -0.2


def test_pairs_that_cannot_be_told_apart_get_a_plan_or_a_reason(study):
    found = compared(study)
    plans, powers = found.trials["trial_plans"], found.trials["trial_power"]
    pairs = [one for one in found.pairs if one.service and not is_told(one)]
    assert len(plans) == len(pairs) > 0
    assert plans["why"].ne("").all()
    assert set(plans["pays"]) <= {"yes", "no", "can't be told"}
    told = plans[plans["pays"] == "yes"]
    assert (told["trial_saves"] > told["trial_costs"]).all()
    assert powers["power"].between(0.0, 1.0).all()
    rising = powers.groupby(["part", "wanted_ratio"])["power"].apply(
        lambda one: one.is_monotonic_increasing
    )
    assert rising.all()


def test_no_trial_is_proposed_of_a_material_that_nobody_confirmed(study):
    none = study.records.table("compatibility").iloc[:0]
    plans = compared(study, compatibility=none).trials["trial_plans"]
    assert plans["pays"].eq("can't be told").all()
    assert plans["why"].str.startswith("first let someone confirm").all()


def test_make_ups_that_cannot_be_compared_have_no_chance_of_being_cheaper(study):
    costs = compared(study).costs
    swapped = costs.set_index("choice")
    assert np.isfinite(swapped.loc["diaphragm TPV, ball CR, seat CR", "prob_cheaper"])
    row = swapped.loc["diaphragm CR, ball TPV, seat CR"]
    assert np.isnan(row["prob_cheaper"])
    assert "ball: no chance of being cheaper, too few failures" in row["note"]


def test_lives_without_a_material_are_said(study):
    every = gather_every(study.fits, study.lives, study.duty)
    log = AuditLog()
    say_blank(every, log)
    assert log.frame().empty
    blank = every.assign(kind=every["kind"].where(every["pump"] > 1, ""))
    say_blank(blank, log)
    audit = log.frame()
    assert audit["rule"].eq("material_blank").all()
    assert audit["severity"].eq("caution").all()
    lost = int(((every["pump"] <= 1) & (every["part"] == "ball")).sum())
    assert f"no material is written for {lost} of" in audit["what"].iloc[0]


def test_releases_are_priced_as_often_as_they_happen(study):
    """4 of 10 failures against 9 of 10, both drawn towards 13 of 20 by two failures."""
    facts = pd.DataFrame({"service": "slip", "side": "fluid", "part": "diaphragm",
                          "kind": ["CR", "TPV"], "usage": [2.0, 1.0]})  # fmt: skip
    index = pd.MultiIndex.from_tuples(
        [("slip", "fluid", "diaphragm", kind) for kind in ("CR", "TPV")],
        names=["service", "side", "part", "kind"],
    )
    modes = pd.DataFrame({"released_told": [10.0, 10.0], "released_share": [0.9, 0.4]}, index=index)
    found = compare_releases(facts, modes, {"diaphragm"})
    assert found == {("slip", "fluid", "diaphragm", "TPV"): pytest.approx(5.3 / 10.3)}
    assert compare_releases(facts, modes, set()) == {}
    assert compare_releases(facts, modes.assign(released_told=4.0), {"diaphragm"}) == {}
    choice: Choice = compared(study).choices[0]
    costs = choice.group.costs
    half = release_as_often(costs, np.array([0.5, 1.0, 1.0]))
    assert costs.kit_failure.cash[0] - half.kit_failure.cash[0] == pytest.approx(
        0.5 * costs.spill[0]
    )
    assert (half.kit_failure.cash[1:] == costs.kit_failure.cash[1:]).all()


def test_figures_of_trials_draw_what_their_tables_hold(study):
    records = records_of(study)
    facts = gather_facts(study.fits, study.lives, study.duty)
    found = follow_trials(records, study.duty, facts, study.fits)
    axes = plot_progress(found["trial_looks"], found["trials"])
    assert read_title(axes) == "Trials under way: 1 shown"
    drawn = axes.get_lines()[0].get_ydata()
    assert drawn.tolist() == progress_table(found["trial_looks"])["score"].tolist()
    power = pd.DataFrame({"service": "slip", "part": "ball", "material": "TPV", "variant": "",
                          "reference": "CR", "wanted_ratio": 1.5, "pumps_each": [2, 3, 4],
                          "usage_per_pump": 8000.0, "power": [0.3, 0.5, 0.7],
                          "planned": ["", "", "yes"]})  # fmt: skip
    axes = plot_trial_power(power, units=name_units("hours", "EUR"))
    assert "Ball in slip" in read_title(axes)
    assert axes.get_lines()[0].get_ydata().tolist() == trial_power_table(power)["power"].tolist()


def test_every_column_of_trials_has_its_words(study):
    tables = {**follow_trials(records_of(study), study.duty,
                              gather_facts(study.fits, study.lives, study.duty), study.fits),
              **compared(study).trials}  # fmt: skip
    for name in ("trials", "trial_looks", "trial_plans", "trial_power"):
        for column in tables[name].columns:
            known = OF_TRIALS.get((name, column)) or HEADINGS.get(column)
            assert known is not None or "_" not in column, column
            assert known in (None, find_heading(name, column))
