"""A slice of the topic `trials`: 800 trials of one plan, of alike materials, of harm.

800 trials of 80 % vary by 1.4 points, of 5 % by 0.8.
"""

from tests.prove import trials


def test_one_plan_reaches_its_power_and_keeps_its_risk(monkeypatch):
    monkeypatch.setattr(trials, "PLANS", trials.PLANS[:1])
    power, risk, _ = trials._plan(800)
    assert abs(power.value - trials.POWER) < 0.05
    assert risk.value < 0.075


def test_harm_is_seen_where_it_is():
    none, twice, thrice = (one.value for one in trials._harm(1000))
    assert none < 0.06
    assert 0.8 < twice < thrice
