"""A challenged interval: what it costs, and a change that, put back, makes it the advice."""

import types

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.policy.advice import advise
from pumplife.policy.challenge import challenge
from pumplife.policy.chance import say_chance
from pumplife.policy.changed_input import COST_INPUTS, advise_group, change_costs, change_input
from pumplife.policy.interval import cost_rate
from pumplife.policy.pump import integrate_to
from pumplife.records.read import read_records
from pumplife.rewind.rewind import build_and_fit
from tests.rewind.fleet import fleet_settings, fleet_tables, write_fleet


def study_of(folder, toml=None):
    if toml is not None:
        (folder / "plant.toml").write_text(toml, encoding="utf-8")
    records = read_records(folder)
    duty, known = build_and_fit(records, seed=1)
    advice = advise(records, duty, known.clock, known.lives, known.fits)
    return types.SimpleNamespace(records=records, advice=advice)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_fleet(tmp_path_factory.mktemp("told") / "plant", fleet_tables(11))


@pytest.fixture(scope="module")
def study(folder):
    return study_of(folder)


@pytest.mark.parametrize("factor", [0.8, 1.3])
def test_every_change_put_back_yields_the_interval(study, factor):
    group, decision = study.advice.groups[0], study.advice.decisions[0]
    wanted = factor * decision.interval
    found = challenge(study, 0, wanted)
    assert "life of the parts" in found.changes
    distances = [abs(np.log(change)) for change in found.changes.values()]
    assert distances == sorted(distances)
    for name, change in found.changes.items():
        changed = advise_group(change_input(group, decision.costs, name, change), 0.05)
        assert changed.interval == pytest.approx(wanted, rel=0.01), name


def test_the_change_written_into_plant_toml_gives_the_interval(folder, study):
    wanted = 1.15 * study.advice.decisions[0].interval
    factor = challenge(study, "fluid", wanted).changes["downtime per h"]
    toml = fleet_settings().replace(
        "downtime_per_h = 100.0", f"downtime_per_h = {100.0 * factor!r}"
    )
    assert toml != fleet_settings()
    try:
        again = study_of(folder, toml)
    finally:
        (folder / "plant.toml").write_text(fleet_settings(), encoding="utf-8")
    assert again.advice.decisions[0].interval == pytest.approx(wanted, rel=0.01)


def test_costs_are_the_closed_form_and_paired_by_draw(study):
    group, decision = study.advice.groups[0], study.advice.decisions[0]
    found = challenge(study, 0, 9000.0)
    at = integrate_to(group.life, decision.advice.known, np.array([9000.0]))
    costs = decision.costs
    rate = cost_rate(at, costs.planned_money, costs.failure_money)[0]
    usage = group.usage_per_year.sum()
    assert found.cost == pytest.approx(usage * rate.mean())
    assert found.dearer == pytest.approx(found.cost - found.cost_advised)
    assert found.prob_better == np.mean(rate < decision.advised.money)
    assert found.dearer_low <= found.dearer <= found.dearer_high


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.0, "under 1 %"), (0.004, "under 1 %"), (0.006, "1 %"), (0.42, "42 %"), (1.0, "over 99 %")],
)
def test_draws_make_nothing_certain(share, words):
    assert say_chance(share) == words


def test_the_advice_itself_needs_no_change(study):
    found = challenge(study, 0, study.advice.decisions[0].interval)
    assert found.same
    assert "It is the advice" in found.say()[-1]


def test_an_absurd_interval_has_no_single_change(study):
    found = challenge(study, 0, 1.0)
    assert found.changes == {}
    assert "No single change" in found.say()[-1]


@pytest.mark.parametrize("name", COST_INPUTS)
def test_costs_change_in_proportion(study, name):
    costs = study.advice.decisions[0].costs
    same, twice, thrice = (change_costs(costs, name, factor) for factor in (1.0, 2.0, 3.0))
    assert same.planned_money == pytest.approx(costs.planned_money)
    step = twice.failure_money - costs.failure_money
    assert np.all(step > 0.0) or name == "spill"
    np.testing.assert_allclose(thrice.failure_money - twice.failure_money, step, atol=1e-9)


def test_wrong_calls_say_what_to_do(study):
    with pytest.raises(RecordError, match="above 0"):
        challenge(study, 0, -1.0)
    with pytest.raises(RecordError, match="rows 0 to 0"):
        challenge(study, 7, 100.0)
    with pytest.raises(RecordError, match="name one of these"):
        challenge(study, "glaze", 100.0)
