"""Running trials of pairs: compared pair by pair, incomplete pairs said, the plan's own test."""

import numpy as np
import pandas as pd
import pytest

from pumplife.materials.facts import gather_facts
from pumplife.materials.trial_lives import score_until
from pumplife.materials.trial_pairs import (
    count_witnesses,
    name_witnesses,
    say_followed,
    share_alike,
)
from pumplife.materials.trial_score import TrialLives, score_trials
from tests.materials.conftest import PUMPS
from tests.materials.test_trials import ARMS, follow

PAIRED = [(number, kind, f"pair {number // 2}") for number, kind in ARMS]


def test_paired_pumps_are_compared_as_pairs(study):
    """Eight pairs that took the arms' place: same failures, other score, fewer failures needed."""
    row, looks, audit = follow(study, arms=PAIRED)
    single, apart, _ = follow(study)
    assert audit.empty
    assert (row["pairs"], row["followed_as"]) == (PUMPS // 2, "8 pairs of pumps")
    assert (single["pairs"], single["followed_as"]) == (0, "16 single pumps")
    assert looks["followed_as"].eq("8 pairs of pumps").all()
    assert row["events"] == single["events"]
    assert row["life_ratio"] == pytest.approx(single["life_ratio"])
    assert row["ratio_low"] != pytest.approx(single["ratio_low"])
    assert row["events_needed"] != single["events_needed"]
    assert looks["score"].iloc[0] != apart["score"].iloc[0]
    assert row["decision"] == "shown"


def test_names_of_pairs_and_the_order_of_rows_do_not_matter(study):
    row, looks, _ = follow(study, arms=PAIRED)
    other = [(pump, arm, f"Z{99 - int(pair.split()[1])}") for pump, arm, pair in PAIRED[::-1]]
    again, same, _ = follow(study, arms=other)
    assert looks["score"].tolist() == pytest.approx(same["score"].tolist(), abs=1e-9)
    assert row["ratio_low"] == pytest.approx(again["ratio_low"])


def test_a_pair_that_lacks_a_material_is_said_and_its_pumps_stand_alone(study):
    arms = [*PAIRED[:-2], (PUMPS - 2, "CR", "pair 7"), (PUMPS - 1, "TPV", "pair 8")]
    row, looks, audit = follow(study, arms=arms)
    assert row["followed_as"] == "7 pairs of pumps, 2 single pumps"
    assert looks["followed_as"].eq(row["followed_as"]).all()
    told = audit[audit["rule"] == "trial_pair"]
    assert told["pump_id"].tolist() == [f"P-{PUMPS - 2}", f"P-{PUMPS - 1}"]
    assert told["row"].tolist() == [PUMPS, PUMPS + 1]
    assert told["what"].str.contains("no pump of its pair").all()
    assert "the material on trial" in told["what"].iloc[0]
    assert "the reference" in told["what"].iloc[1]
    assert told[["consequence", "remedy"]].ne("").all(axis=None)
    assert row["pumps"] == row["reference_pumps"] == PUMPS // 2


def test_pairs_without_a_partner_are_plain_arms(study):
    """Every pump its own pair: the numbers are those of a trial without pairs."""
    row, looks, audit = follow(study, arms=[(pump, arm, f"{pump}") for pump, arm in ARMS])
    single, apart, _ = follow(study)
    assert (audit["rule"] == "trial_pair").sum() == PUMPS
    assert row["followed_as"] == single["followed_as"]
    assert looks["score"].tolist() == apart["score"].tolist()
    assert row["events_needed"] == single["events_needed"]


def test_a_pump_with_both_is_a_pair_by_itself(study):
    row, _, _ = follow(study, {"part": "ball"}, arms=[(number, "both", "") for number in range(4)])
    assert (row["pairs"], row["followed_as"]) == (4, "4 pumps with both")


def test_the_score_of_pairs_is_that_of_the_plan(study):
    """The same lives, laid out as the played trials hold them with pairs for clusters."""
    facts = gather_facts(study.fits, study.lives, study.duty)
    lives = facts[facts["part"].eq("diaphragm") & ~facts["early"] & facts["entry"].eq(0.0)]
    pairs = name_witnesses([(pump, pump + 1) for pump in range(0, PUMPS, 2)])
    found = score_until(lives, "TPV", pd.Timestamp("2030-01-01"), pairs)
    assert found == pytest.approx(float(score_trials(as_played(lives)).score[0]), abs=1e-6)
    assert found != pytest.approx(score_until(lives, "TPV", pd.Timestamp("2030-01-01")), abs=1e-3)


def as_played(lives):
    """Lives of one trial, even pumps first, two rows of one position for each."""
    pumps = [*range(0, PUMPS, 2), *range(1, PUMPS, 2)]
    own = [lives[lives["pump"] == pump] for pump in pumps]
    most = max(map(len, own))

    def laid(name):
        rows = [mine[name].to_numpy(float) for mine in own]
        return np.stack([np.pad(row, (0, most - len(row))) for row in rows])[None]

    return TrialLives(
        age=laid("lower"),
        failed=laid("failures"),
        count=np.ones(PUMPS),
        tested=np.arange(PUMPS) >= PUMPS // 2,
        cluster=np.tile(np.arange(PUMPS // 2), 2),
    )


@pytest.mark.parametrize(
    ("pairs", "arms", "share", "witnesses", "words"),
    [
        ([], ((0, 1), (2, 3)), 0.0, 4, "4 single pumps"),
        ([(0, 2), (1, 3)], ((0, 1), (2, 3)), 0.5, 2, "2 pairs of pumps"),
        ([(0, 2)], ((0, 1), (2, 3)), 0.25, 3, "1 pair of pumps, 2 single pumps"),
        ([(0,), (1,)], ((0, 1), (0, 1)), 1.0, 2, "2 pumps with both"),
        ([(0, 1, 2, 3)], ((0, 1), (2, 3)), 0.5, 1, "1 pair of pumps"),
        ([], ((), (2,)), 0.0, 1, "1 single pump"),
    ],
)
def test_what_pairs_share_by_hand(pairs, arms, share, witnesses, words):
    pumps = (*arms[0], *arms[1])
    assert share_alike(pairs, *arms) == pytest.approx(share)
    assert count_witnesses(pairs, pumps) == witnesses
    assert say_followed(pairs, pumps) == words
