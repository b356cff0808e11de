"""Whether records can tell two materials apart: designs by hand and by chance."""

import numpy as np
import pandas as pd
import pytest

from pumplife.materials.compare import compare_pairs, find_reference
from pumplife.materials.confounded import (
    CONFOUNDED,
    TOO_FEW,
    YES,
    count_mixed,
    explain_away,
    expose,
    judge_pair,
)
from pumplife.materials.facts import merge_equal, number_strata
from pumplife.materials.notes import note_pair
from tests.prove.materials import make_facts


def facts_of(design, seed=1, pumps=20):
    return make_facts(np.random.default_rng(seed), pumps, design=design)


@pytest.mark.parametrize(
    ("design", "words"),
    [
        ("service", "each stands for another service"),
        ("size", "each stands for another size"),
        ("date", "changed over at one date: TPV was fitted after CR"),
        ("pace", "TPV sits on the harder-worked pumps"),
    ],
)
def test_confounded_designs_are_named(design, words):
    verdict = judge_pair(facts_of(design), "TPV", "CR")
    assert verdict.comparable == CONFOUNDED
    assert words in verdict.reason


def test_a_clean_design_is_comparable():
    verdict = judge_pair(facts_of("clean"), "TPV", "CR")
    assert verdict.comparable == YES
    assert verdict.reason == ""
    assert verdict.later == pytest.approx(0.5, abs=0.15)
    assert verdict.pace_ratio == pytest.approx(1.0, abs=0.2)


def test_one_failure_of_either_is_too_few():
    facts = facts_of("clean")
    second = facts["kind"].eq("TPV")
    first = facts[second & facts["failed"]].index[0]
    spared = second & (facts.index != first)
    facts = facts.assign(
        upper=facts["upper"].where(~spared, np.inf), failures=facts["failures"].where(~spared, 0.0)
    )
    verdict = judge_pair(facts, "TPV", "CR")
    assert verdict.comparable == TOO_FEW
    assert "1 of TPV" in verdict.reason


def test_materials_held_at_once_are_counted():
    days = pd.to_datetime(["2020-01-01", "2020-06-01", "2020-01-01", "2020-06-01"])
    facts = pd.DataFrame(
        {"pump": [1, 1, 2, 2], "start": days, "end": days + pd.Timedelta(days=152)}
    )  # January's end on the first of June, where June's begin
    mark = np.array([True, False, False, True])
    assert count_mixed(facts, mark) == 0
    facts.loc[0, "end"] = pd.Timestamp("2020-07-01")
    assert count_mixed(facts, mark) == 1


def test_explaining_a_ratio_away():
    assert explain_away(1.5, 1.2, 1.9) == (1.5, 1.2)
    assert explain_away(0.5, 0.4, 0.8) == (2.0, 1.25)
    assert explain_away(1.1, 0.9, 1.4) == (1.1, 1.0)
    assert np.isnan(explain_away(np.nan, 0.5, np.nan)).all()


def test_exposure_adds_up():
    facts = facts_of("clean").assign(material="CR", variant="")
    told = expose(facts)
    assert told["usage"].sum() == pytest.approx(facts["usage"].sum())
    assert told["failures"].sum() == facts["failures"].sum()
    assert told["pumps"].tolist() == [facts["pump"].nunique()]


def test_pairs_against_the_most_used_and_over_services():
    one = facts_of("clean", 1)
    two = facts_of("clean", 2).assign(service="glaze")
    two["pump"] += 1000
    pairs = compare_pairs(number_strata(pd.concat([one, two], ignore_index=True)))
    assert [pair.service for pair in pairs] == ["glaze", "slip", ""]
    for pair in pairs[:2]:
        mine = (one if pair.service == "slip" else two).groupby("kind")["usage"].sum()
        assert pair.reference == mine.idxmax()
    across = pairs[2].ratio
    assert across.failures.sum() == sum(pair.ratio.failures.sum() for pair in pairs[:2])
    assert across.se < min(pair.ratio.se for pair in pairs[:2])


def test_lives_alike_in_all_are_one_row_and_nothing_is_lost():
    facts = facts_of("clean").assign(pressure=np.nan)
    four = facts.loc[facts.index.repeat(4)].reset_index(drop=True)
    rows = merge_equal(four)
    assert len(rows) == len(facts)
    assert rows["weight"].tolist() == [4.0] * len(facts)
    assert rows["usage"].to_numpy() == pytest.approx(4.0 * facts["usage"].to_numpy())
    for name, other in (("upper", 1e9), ("end", pd.Timestamp("2031-01-01")), ("early", True)):
        changed = four.assign(**{name: four[name].where(four.index != 3, other)})
        apart = merge_equal(changed)
        assert len(apart) == len(facts) + 1
        assert apart["weight"].sum() == len(four)


def test_the_most_used_of_equals_is_the_first_by_name_however_usage_is_added_up():
    lives = pd.DataFrame({"kind": ["TPV", "CR", "CR"], "usage": [0.1 + 0.2, 0.1, 0.2]})
    assert find_reference(lives) == "CR"
    assert find_reference(lives.assign(usage=[0.4, 0.1, 0.2])) == "TPV"


def test_weights_and_repeats_are_one_comparison():
    facts = facts_of("clean")
    four = facts.loc[facts.index.repeat(4)].reset_index(drop=True)
    (one,), (many,) = compare_pairs(facts.assign(weight=4.0)), compare_pairs(four)
    assert many.ratio.estimate == pytest.approx(one.ratio.estimate, abs=1e-9)
    assert many.verdict.pace_ratio == pytest.approx(one.verdict.pace_ratio, abs=1e-9)


def test_materials_held_at_once_are_said():
    facts = facts_of("clean")
    second = facts["kind"].eq("TPV")
    pump = facts.loc[second, "pump"].iloc[0]
    beside = facts[second & facts["pump"].eq(pump)].assign(kind="CR")
    both = number_strata(pd.concat([facts, beside], ignore_index=True))
    (pair,) = compare_pairs(both)
    assert pair.verdict.mixed_pumps == 1 + compare_pairs(facts)[0].verdict.mixed_pumps
    words = f"{pair.verdict.mixed_pumps} pump"
    assert words in note_pair(pair, np.nan, "")
    assert "held both at once: each may have worn the other" in note_pair(pair, np.nan, "")
