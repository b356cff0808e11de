"""A slice of the topic `trials`: 800 trials of one plan, of running ones, of alike materials, of
harm; the table of powers by both tests.

800 trials of 80 % vary by 1.4 points, of 5 % by 0.8.
"""

from tests.prove import trials


def test_one_plan_reaches_its_power_and_keeps_its_risk(monkeypatch):
    monkeypatch.setattr(trials, "PLANS", trials.PLANS[:1])
    power, risk, _ = trials._plan(800)
    assert abs(power.value - trials.POWER) < 0.05
    assert risk.value < 0.075


def test_running_pairs_reach_their_power_at_the_failures_said_to_be_needed(monkeypatch):
    monkeypatch.setattr(trials, "FOLLOWED", trials.FOLLOWED[1:2])
    power, risk = trials._follow(800)
    assert abs(power.value - trials.POWER) < 0.08
    assert risk.value < 0.06


def test_a_table_of_powers_by_independent_lives_and_where_its_difference_lies():
    """Four rows are those of lives taken as independent, one of lives alike within pumps; the
    difference is what false alarms had bought. 1,500 trials vary by 1.1 points."""
    for place, (ratio, pumps, use, power) in enumerate(trials.TABLE):
        found = trials.play_both(ratio, pumps, use, 1500)
        told = "independent" if place < 4 else "clustered"
        assert abs(found[told] - power) < 0.05, (ratio, pumps)
        assert found["independent"] > found["clustered"] + 0.03
        assert 0.05 < found["wrong"] < 0.13
        assert -0.04 < found["fair"] - found["clustered"] < 0.10


def test_harm_is_seen_where_it_is():
    none, twice, thrice = (one.value for one in trials._harm(1000))
    assert none < 0.06
    assert 0.8 < twice < thrice
