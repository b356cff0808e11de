"""Mean cumulative function and trend tests: published tables, R's output, by hand, properties."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.errors import NoFiniteEstimate, RecordError
from pumplife.lives.process import fit_log_linear, fit_power_law
from pumplife.lives.trend import (
    laplace_trend,
    lewis_robinson_trend,
    mean_cumulative_function,
    power_law_trend,
)

REFERENCE = Path(__file__).parents[1] / "reference"
PUBLISHED = json.loads((REFERENCE / "published_recurrent.json").read_text())["checks"]
SEATS = json.loads((REFERENCE / "recurrent.json").read_text())["valve_seats"]


def half_unit(printed: str) -> float:
    """Half a unit of the last printed digit."""
    decimals = len(printed.partition(".")[2].partition("e")[0])
    exponent = int(printed.partition("e")[2] or 0)
    return 0.5000001 * 10.0 ** (exponent - decimals)


def valve_seats():
    """Nelson & Doganaksoy (1989), open data: 41 engines, 48 replacements."""
    with (REFERENCE / "data" / "valve_seats.csv").open() as file:
        rows = [(row["id"], float(row["time"]), row["status"]) for row in csv.DictReader(file)]
    ends = {name: time for name, time, status in rows if status == "0"}
    place = {name: i for i, name in enumerate(ends)}
    events = [(place[name], time) for name, time, status in rows if status == "1"]
    system, time = zip(*events, strict=True)
    return np.array(system), np.array(time), np.array(list(ends.values()))


def histories(check):
    """Events and ends of a published check's systems."""
    units = list(PUBLISHED[check]["inputs"].values())
    system = np.repeat(np.arange(len(units)), [len(u["replacements"]) for u in units])
    time = np.concatenate([u["replacements"] for u in units])
    return system, time, np.array([u["end"] for u in units])


def test_valve_seats_equal_r_survival():
    got = mean_cumulative_function(*valve_seats())
    assert got.time.tolist() == SEATS["mcf_time"]
    np.testing.assert_allclose(got.mcf, SEATS["mcf"], atol=1e-9)
    np.testing.assert_allclose(got.variance, SEATS["mcf_var_robust"], atol=1e-9)
    np.testing.assert_allclose(got.variance_poisson, SEATS["mcf_var_poisson"], atol=1e-9)


def printed_rows(check, measure):
    """(age, printed) of one measure, from names such as t61_MCF."""
    for output in PUBLISHED[check]["outputs"]:
        name = output["name"].split("_")
        if name[1] == measure:
            yield float(name[0][1:]), output["printed"]


@pytest.mark.parametrize("check", ["M01", "M03"])
@pytest.mark.parametrize("measure", ["MCF", "se", "lo", "hi"])
def test_published_mean_cumulative_function(check, measure):
    """M01: Nelson, Technometrics 37 (1995), Table 1 data, values as R survival prints them.

    M03: Meeker & Escobar (1998), ch. 16, braking grids. Both seen on public pages.
    """
    got = mean_cumulative_function(*histories(check), confidence=0.95)
    value = {"MCF": got.mcf, "se": np.sqrt(got.variance), "lo": got.low, "hi": got.high}[measure]
    rows = list(printed_rows(check, measure))
    assert len(rows) >= 16 or check == "M01"
    for age, printed in rows:
        at = int(np.flatnonzero(got.time == age)[0])
        assert value[at] == pytest.approx(float(printed), abs=half_unit(printed))


def test_published_m01_numbers_at_risk():
    got = mean_cumulative_function(*histories("M01"))
    seen = [output for output in PUBLISHED["M01"]["outputs"] if "at_risk" in output["name"]]
    assert len(seen) >= 16
    for output in seen:
        age = float(output["name"].split("_")[0][1:])
        assert got.at_risk[got.time == age].tolist() == [int(output["printed"])]


def test_two_systems_by_hand():
    # A seen 0-10 with events at 2 and 6; B seen 0-4 with one at 3
    got = mean_cumulative_function([0, 1, 0], [2.0, 3.0, 6.0], [10.0, 4.0])
    assert got.at_risk.tolist() == [2, 2, 1]
    np.testing.assert_allclose(got.mcf, [0.5, 1.0, 2.0])
    # after 2: A +1/4, B -1/4; after 3 both 0; at 6 A alone: 1 seen, 1 expected
    np.testing.assert_allclose(got.variance, [2 / 16, 0.0, 0.0], atol=1e-15)


def test_late_entry_by_hand():
    # B is watched only from 5 on: it is no witness of the event at 2
    got = mean_cumulative_function([0, 1], [2.0, 6.0], [10.0, 10.0], [0.0, 5.0])
    assert got.at_risk.tolist() == [1, 2]
    np.testing.assert_allclose(got.mcf, [1.0, 1.5])
    np.testing.assert_allclose(got.variance, [0.0, 2 * 0.25**2])


def test_time_blocks_change_nothing(monkeypatch):
    whole = mean_cumulative_function(*valve_seats()).variance
    monkeypatch.setattr("pumplife.lives.trend._BLOCK_CELLS", 41 * 7)
    np.testing.assert_allclose(mean_cumulative_function(*valve_seats()).variance, whole, rtol=1e-12)


def test_no_events_give_an_empty_function():
    got = mean_cumulative_function([], [], [5.0, 6.0])
    assert len(got.time) == 0
    assert "none" in repr(got)
    assert np.isnan(laplace_trend([], [], [5.0]).statistic)
    assert power_law_trend([], [], [5.0]).direction == "none"


histories_drawn = st.lists(
    st.tuples(
        st.floats(0.0, 50.0),
        st.floats(1.0, 100.0),
        st.lists(st.floats(0.01, 1.0), max_size=4),
    ),
    min_size=1,
    max_size=8,
)


def as_arrays(drawn):
    start = np.array([row[0] for row in drawn])
    end = start + np.array([row[1] for row in drawn])
    system = np.repeat(np.arange(len(drawn)), [len(row[2]) for row in drawn])
    share = np.array([value for row in drawn for value in row[2]])
    time = start[system] + share * (end - start)[system]
    return system, np.minimum(time, end[system]), end, start


@given(histories_drawn, st.randoms())
@settings(max_examples=60, deadline=None)
def test_order_of_events_and_a_copied_fleet(drawn, random):
    system, time, end, start = as_arrays(drawn)
    if len(time) == 0 or np.any(time <= start[system]):
        return
    got = mean_cumulative_function(system, time, end, start)
    order = np.array(random.sample(range(len(time)), len(time)))
    mixed = mean_cumulative_function(system[order], time[order], end, start)
    np.testing.assert_allclose(mixed.variance, got.variance, rtol=1e-9, atol=1e-12)
    twice = mean_cumulative_function(
        np.r_[system, system + len(end)], np.r_[time, time], np.r_[end, end], np.r_[start, start]
    )
    np.testing.assert_allclose(twice.mcf, got.mcf, rtol=1e-12)
    np.testing.assert_allclose(twice.variance, got.variance / 2, rtol=1e-9, atol=1e-12)


def test_robust_variance_covers_unlike_systems():
    """Pumps with unlike rates: the robust variance is that of many fleets, Poisson's too small."""
    rng = np.random.default_rng(11)
    finals, robust, poisson = [], [], []
    for _ in range(300):
        counts = rng.poisson(rng.gamma(1.0, 4.0, size=40))
        system = np.repeat(np.arange(40), counts)
        got = mean_cumulative_function(system, rng.uniform(0.01, 1.0, len(system)), np.ones(40))
        finals.append(got.mcf[-1])
        robust.append(got.variance[-1])
        poisson.append(got.variance_poisson[-1])
    assert np.mean(robust) == pytest.approx(np.var(finals), rel=0.25)
    assert np.mean(poisson) < 0.4 * np.var(finals)


def test_trend_tests_of_valve_seats():
    """Independently computed, conditional on each engine's own number of replacements."""
    system, time, end = valve_seats()
    laplace = laplace_trend(system, time, end)
    assert laplace.statistic == pytest.approx(SEATS["laplace_conditional"], rel=1e-12)
    assert laplace.direction == "more often"
    power = power_law_trend(system, time, end)
    assert power.statistic == pytest.approx(SEATS["mil189"]["stat"], rel=1e-12)
    assert power.degrees == SEATS["mil189"]["df"]
    assert power.direction == "more often"


def test_published_single_system_trend():
    """T01: Meeker & Escobar (1998), ch. 16, halfbeak; seen on a public page."""
    inputs = PUBLISHED["T01"]["inputs"]
    events = np.array(inputs["events_by_system"][0])
    printed = {o["name"]: o["printed"] for o in PUBLISHED["T01"]["outputs"]}
    system, end = np.zeros(len(events), dtype=int), inputs["end_of_observation"]
    laplace = laplace_trend(system, events, end)
    assert laplace.statistic == pytest.approx(
        float(printed["laplace"]), abs=half_unit(printed["laplace"])
    )
    power = power_law_trend(system, events, end)
    wanted = printed["mil_hdbk_189"]
    assert power.statistic == pytest.approx(float(wanted), abs=half_unit(wanted))
    one_tail = printed["mil_p"]
    assert power.p_value / 2 == pytest.approx(float(one_tail), abs=half_unit(one_tail))

    lewis = lewis_robinson_trend(system, events, end)
    assert lewis.statistic == pytest.approx(
        float(printed["lewis_robinson"]), abs=half_unit(printed["lewis_robinson"])
    )
    assert lewis.p_value == pytest.approx(float(printed["lr_p"]), abs=half_unit(printed["lr_p"]))
    assert lewis.direction == "more often"


def printed_of(check):
    return {output["name"]: output["printed"] for output in PUBLISHED[check]["outputs"]}


def near(value, printed):
    return value == pytest.approx(float(printed), abs=half_unit(printed))


@pytest.mark.parametrize("check", ["N01", "N02", "N04", "N05"])
def test_published_power_law_fits(check):
    """Meeker & Escobar (1998), ch. 16: grids, halfbeak, grampus; seen on a public page."""
    inputs, printed = PUBLISHED[check]["inputs"], printed_of(check)
    events = inputs["events_by_system"]
    system = np.repeat(np.arange(len(events)), [len(row) for row in events])
    fit = fit_power_law(system, np.concatenate(events), inputs["end_of_observation"])
    found = dict(zip(("beta", "eta"), fit.value, strict=True))
    found |= dict(zip(("se_beta", "se_eta"), fit.error, strict=True))
    found["loglik"] = fit.log_likelihood
    reach = 1.959964 * fit.error[0]
    found |= {"beta_lo": fit.value[0] - reach, "beta_hi": fit.value[0] + reach}
    assert set(found) == set(printed)
    for name, value in found.items():
        assert near(value, printed[name]), name


def test_published_log_linear_fit():
    """N06: Meeker & Escobar (1998), ch. 16, halfbeak; seen on a public page."""
    inputs, printed = PUBLISHED["T01"]["inputs"], printed_of("N06")
    events = np.array(inputs["events_by_system"][0])
    fit = fit_log_linear(np.zeros(len(events), int), events, inputs["end_of_observation"])
    found = dict(zip(("gamma0", "gamma1"), fit.value, strict=True))
    found |= dict(zip(("se_g0", "se_g1"), fit.error, strict=True))
    found["loglik"] = fit.log_likelihood
    for name, value in found.items():
        assert near(value, printed[name]), name


def test_published_failure_truncated_power_law():
    """N08: MIL-HDBK-189 (1981), 40 failures to 3256.3 h; from memory."""
    times, printed = PUBLISHED["N08"]["inputs"]["times"], printed_of("N08")
    fit = fit_power_law(np.zeros(40, int), times, [times[-1]])
    shape, scale = fit.value
    assert near(shape, printed["beta"])
    assert near(scale**-shape, printed["lam"])
    assert near(1.0 / (40 * shape / times[-1]), printed["MTBF"])


def test_published_failure_truncated_laplace():
    """T03: Modarres, Kaminskiy & Krivtsov, example 5.11; seen on a public page.

    Watched until the last failure, which then says nothing itself.
    """
    times = np.cumsum(PUBLISHED["T03"]["inputs"]["times_between_failures"])
    printed = printed_of("T03")
    laplace = laplace_trend(np.zeros(29, int), times[:-1], [times[-1]])
    assert near(laplace.statistic, printed["laplace_U"])
    shape, scale = fit_power_law(np.zeros(30, int), times, [times[-1]]).value
    assert near(shape, printed["beta"])
    assert near(scale**-shape, printed["lam"])


def test_lewis_robinson_pools_systems_by_hand():
    # two systems, 0-10: gaps 2, 4 and 3; Laplace (−3 + 1 − 2)/10 / √(3/12)
    got = lewis_robinson_trend([0, 0, 1], [2.0, 6.0, 3.0], [10.0, 10.0])
    laplace = (-0.3 + 0.1 - 0.2) / np.sqrt(3 / 12)
    assert got.statistic == pytest.approx(laplace * 3.0 / 1.0)
    assert np.isnan(lewis_robinson_trend([0], [2.0], [10.0]).p_value)


def test_rates_are_independent_of_the_unit():
    system, time, end = valve_seats()
    days, years = fit_power_law(system, time, end), fit_power_law(system, time / 365, end / 365)
    np.testing.assert_allclose(years.value, days.value / [1, 365], rtol=1e-9)
    np.testing.assert_allclose(years.error, days.error / [1, 365], rtol=1e-7)
    line, short = fit_log_linear(system, time, end), fit_log_linear(system, time / 365, end / 365)
    assert short.value[1] == pytest.approx(365 * line.value[1], rel=1e-9)


@pytest.mark.parametrize("fit", [fit_power_law, fit_log_linear])
def test_a_rate_without_events_is_refused(fit):
    with pytest.raises(NoFiniteEstimate, match="watch longer"):
        fit([], [], [5.0])


def test_published_decreasing_trend():
    """T04: NIST/SEMATECH e-Handbook 8.2.3.4, ten repairs to 1500 h; from memory."""
    inputs = PUBLISHED["T04"]["inputs"]
    got = power_law_trend(np.zeros(10, dtype=int), inputs["repairs"], [inputs["T"]])
    assert got.statistic == pytest.approx(37.23, abs=0.005)
    assert got.direction == "less often"
    printed, fit = printed_of("T04"), fit_power_law(np.zeros(10, int), inputs["repairs"], [1500])
    growth = fit.value[0] * 9 / 10  # the handbook's estimate, freed of its bias
    assert near(growth, printed["b"])
    assert near(1 - growth, printed["beta_growth"])
    assert near(10 / 1500**growth, printed["a"])
    assert near(1500 / (10 * growth), printed["MTBF_end"])


def test_laplace_with_late_entry_by_hand():
    # one event 3/4 along the span 10-20: (17.5 - 15) / (10 / sqrt 12)
    got = laplace_trend([0], [17.5], [20.0], [10.0])
    assert got.statistic == pytest.approx(2.5 * np.sqrt(12) / 10)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([0], [5.0], [4.0]), r"event 0 of system 0 is at 5.0, outside its observation"),
        (([1], [5.0], [9.0]), r"event 0 names system 1, but there are 1 systems"),
        (([0], [5.0], [9.0], [9.0]), r"system 0 is observed from 9.0 to 9.0"),
        (([0], [5.0], [np.nan]), r"nothing can be seen"),
        (([0, 0], [5.0], [9.0]), r"lengths differ: 2 systems of events, 1 ages"),
    ],
)
def test_impossible_histories_are_refused(arguments, words):
    with pytest.raises(RecordError, match=words):
        mean_cumulative_function(*arguments)


def test_confidence_outside_its_range_is_refused():
    with pytest.raises(RecordError, match="between 0 and 1"):
        mean_cumulative_function([0], [1.0], [2.0], confidence=90)
