"""Pumps, lots, crews and dated events: named where they are unlike, by hand and by simulation."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pumplife.fits.alike.changes import split_where_changed
from pumplife.fits.alike.expected import failures_seen, life_hazard
from pumplife.fits.alike.lots import compare_fittings, early_p_values, list_fittings
from pumplife.fits.alike.pumps import Cells, _tail, add_up, compare_pumps, frailty_p_values
from pumplife.lives.build import Lives
from pumplife.records.audit import AuditLog
from tests.prove.fleets import FIRST_DAY, HOURS_A_DAY, fit_plainly, lots_of, run_fleets


def cells_of(failed, expected):
    failed, expected = np.asarray(failed, float), np.asarray(expected, float)
    return add_up(np.arange(len(failed)), np.zeros(len(failed), np.int64), failed, expected)


def test_a_pump_is_held_against_its_peers_not_against_itself():
    cells = cells_of([6.0, 1.0, 2.0], [3.0, 3.0, 3.0])
    np.testing.assert_allclose(cells.peers_failed, [3.0, 8.0, 7.0])
    ratios = compare_pumps(cells, 3)
    # peers of the first: 3 failures and one more where 6 and one more were expected
    assert ratios.expected[0] == pytest.approx(3.0 * 4 / 7)
    assert ratios.doubt[0] == pytest.approx(1 / np.sqrt(4))


def test_the_tail_is_that_of_the_negative_binomial():
    size, odds = 20.0, 0.3
    got = _tail(np.array([9.0]), np.array([size]), np.array([odds]))[0]
    plain = stats.nbinom(size, 1 - odds)
    assert got == pytest.approx(plain.sf(8) - plain.pmf(9) / 2, rel=1e-9)


def test_more_failures_never_make_a_pump_better():
    failed = np.arange(0.0, 30.0)
    ratios = compare_pumps(
        Cells(
            pump=np.arange(30), group=np.zeros(30, np.int64), failed=failed,
            expected=np.full(30, 8.0), peers_failed=np.full(30, 400.0),
            peers_expected=np.full(30, 400.0),
        ),
        30,
    )  # fmt: skip
    for name in ("ratio", "ratio_low", "ratio_high", "prob_worse"):
        assert (np.diff(getattr(ratios, name)) >= -1e-9).all(), name
    assert (ratios.ratio_low < ratios.ratio).all()
    assert (ratios.ratio < ratios.ratio_high).all()


def test_ratios_of_equal_pumps_are_drawn_together_and_none_is_named():
    rng = np.random.default_rng(1)
    ratios = compare_pumps(cells_of(rng.poisson(8.0, 80), np.full(80, 8.0)), 80)
    assert not ratios.named.any()
    assert ratios.ratio.min() > 0.75
    assert ratios.ratio.max() < 1.4
    assert ratios.spread < 0.2


def test_one_bad_pump_among_many_is_named_and_its_ratio_hardly_shrunk():
    rng = np.random.default_rng(2)
    failed = rng.poisson(8.0, 80)
    failed[17] = 24
    ratios = compare_pumps(cells_of(failed, np.full(80, 8.0)), 80)
    assert np.flatnonzero(ratios.named).tolist() == [17]
    assert ratios.ratio[17] > 2.0
    assert ratios.prob_worse[17] > 0.9


def test_a_pump_without_anything_watched_has_no_ratio():
    ratios = compare_pumps(cells_of([1.0, 2.0], [1.0, 2.0]), 3)
    assert np.isnan(ratios.ratio[2])
    assert not ratios.named[2]
    assert np.isfinite(ratios.ratio[:2]).all()


def test_the_frailty_test_agrees_with_simulation():
    rng = np.random.default_rng(3)
    due = rng.uniform(0.5, 6.0, 40)
    drawn = rng.multinomial(int(due.sum()), due / due.sum(), size=4000).astype(float)
    excess = ((drawn - due * drawn[0].sum() / due.sum()) ** 2 - drawn).sum(axis=1)
    seen = drawn[np.argsort(excess)[3799]]  # 5 % have more
    cells = cells_of(seen, due * seen.sum() / due.sum())
    chance = frailty_p_values(cells, np.zeros(40, np.int64), 1)[0]
    assert chance == pytest.approx(0.05, abs=0.02)


def test_expected_failures_add_up_to_those_seen():
    lives = run_fleets(4, 3, 15, years=6.0)
    fits = fit_plainly(lives)
    seen = failures_seen(fits, lives)
    for group in range(3):
        mine = seen.group == group
        assert seen.expected[mine].sum() == pytest.approx(seen.failed[mine].sum(), rel=1e-6)


def test_the_hazard_of_a_mixture_is_that_of_its_survival():
    table = pd.DataFrame(
        {"shape": [2.5, np.nan], "scale": [4000.0, np.nan], "early_share": [0.06, 0.0],
         "early_scale": [60.0, np.nan]}
    )  # fmt: skip
    age = np.array([0.0, 50.0, 3000.0, 40_000.0])
    got = life_hazard(table).at(age, np.zeros(4, np.int64))
    wear = (age[:3] / 4000.0) ** 2.5
    alive = 0.94 * np.exp(-wear) + 0.06 * np.exp(-age[:3] / 60.0)
    np.testing.assert_allclose(np.exp(-got[:3]), alive, rtol=1e-12)
    assert np.isfinite(got[3])
    assert life_hazard(table).at(np.array([9e9]), np.array([1]))[0] == 0.0


def test_a_lot_that_fails_early_is_flagged_without_blame():
    lives = lots_of(5, 1, bad=0.4)
    found = compare_fittings(fit_plainly(lives), lives, "lot")
    assert found.loc[found["alike"] == "differ", "compared"].tolist() == ["L00"]
    words = " ".join(found["verdict"]).lower()
    assert "look at the batch" in words
    crews = lives.assign(crew=lives["lot"].str.replace("L", "C"))
    words = " ".join(compare_fittings(fit_plainly(crews), crews, "crew")["verdict"]).lower()
    assert "crew c00" in words
    assert "look at the work instruction" in words
    assert not any(word in words for word in ("blame", "fault", "error", "careless", "poor"))


def test_early_failures_of_one_pump_alone_point_at_that_pump():
    lives = lots_of(5, 1, bad=0.4)
    early = lives["lower"].lt(300) & lives["lot"].eq("L00") & lives["outcome"].eq("failed")
    start = np.where(early, lives["start_on"] + pd.to_timedelta(np.arange(240), "D"), FIRST_DAY)
    alone = lives.assign(pump=lives["pump"].where(~early, 999), start_on=pd.to_datetime(start))
    found = compare_fittings(fit_plainly(alone), alone, "lot")
    assert found.loc[found["compared"] == "L00", "alike"].tolist() == ["one pump alone"]
    assert "look at that pump" in found.loc[found["compared"] == "L00", "verdict"].iloc[0]


def test_a_fitting_counts_once_it_failed_early_or_was_watched_long_enough():
    lives = lots_of(6, 1, bad=0.0)
    lives.loc[:4, ["lower", "upper"]] = [[10.0, np.inf]] * 5  # renewed again at once: says nothing
    lives.loc[5, ["lower", "upper"]] = [10.0, 10.0]
    fits = fit_plainly(lives)
    fittings = list_fittings(fits, lives, "lot")
    assert len(fittings) == 235
    assert fittings["early"].sum() >= 1
    assert fittings["expected"].between(0.0005, 0.05).all()


def test_early_chances_by_hand():
    counts = pd.DataFrame(
        {"side": "fluid", "fittings": [10, 90, 2], "early": [3, 2, 1], "expected": 0.01}
    )
    got = early_p_values(counts)
    share, weight = (3 + 20 * 0.01) / 112, 92 + 20
    plain = stats.betabinom(10, share * weight, (1 - share) * weight)
    assert got[0] == pytest.approx(plain.sf(2))
    assert got[1] > 0.5
    assert np.isnan(got[2])  # two fittings are too few


def changed(table, *, factor_day=4.0 * 365.25, covers=None):
    """The fleets of the table, with a lasting event half way."""
    happened = pd.Timestamp(FIRST_DAY) + pd.Timedelta(days=factor_day)
    events = pd.DataFrame(
        {"happened_on": [happened], "until": [pd.NaT], "site": "", "service": "",
         "what": "air dryer", "kind": "lasting", "row": 2}
    )  # fmt: skip
    born = (table["start_on"].to_numpy("datetime64[D]") - FIRST_DAY).astype(float)
    age = (factor_day - born) * HOURS_A_DAY
    dated = pd.DataFrame({"life": np.arange(len(table)), "event": 0, "age": age})
    if covers is not None:
        dated = dated[covers].reset_index(drop=True)
    blank = pd.DataFrame()
    lives = Lives(table=table, now=blank, visits=blank, unseen=blank, dated=dated)
    records = SimpleNamespace(log=AuditLog(), table=lambda name: events)
    after, found = split_where_changed(records, lives)
    return after, found, records.log.frame()


def lived(table):
    return np.where(np.isfinite(table["upper"]), table["upper"], table["lower"]) - table["entry"]


def test_lives_are_split_where_an_event_changed_them():
    table = run_fleets(7, 1, 30, years=8.0, since=(4.0, 1.8))
    after, found, audit = changed(table)
    assert found["alike"].tolist() == ["differ"]
    assert found.loc[0, "ratio"] == pytest.approx(1.8, rel=0.25)
    assert "split at that day" in found.loc[0, "verdict"]
    assert audit["rule"].tolist() == ["lives_changed"]
    assert set(after.table["period"]) == {"", "before 2019-01-01"}
    assert lived(after.table).sum() == pytest.approx(lived(table).sum())
    assert after.table["share_failed"].sum() == table["share_failed"].sum()
    late = after.table[(after.table["period"] == "") & (after.table["entry"] > 0)]
    assert len(late) == 30 * 4
    assert (after.table["lower"] >= after.table["entry"]).all()
    fits = fit_plainly(after.table).table.set_index("period")
    assert fits.loc["", "scale"] > 1.3 * fits.loc["before 2019-01-01", "scale"]


def test_an_event_that_changed_nothing_splits_nothing():
    table = run_fleets(8, 1, 30, years=8.0)
    after, found, audit = changed(table)
    assert found["alike"].tolist() == ["no difference shown"]
    assert after.table is table
    assert audit.empty


def test_an_event_about_some_of_the_pumps_is_told_and_splits_nothing():
    table = run_fleets(9, 1, 30, years=8.0, since=(4.0, 1.8))
    after, found, _ = changed(table, covers=(table["pump"] < 20).to_numpy())
    assert found["alike"].tolist() == ["differ"]
    assert "isn't split" in found.loc[0, "verdict"]
    assert after.table is table


def test_a_failure_on_either_side_of_the_event_counts_in_neither():
    table = run_fleets(7, 1, 30, years=8.0, since=(4.0, 1.8))
    day = np.datetime64("2019-01-01")
    astride = (table["start_on"] < day) & (table["end_on"] > day) & (table["outcome"] == "failed")
    unsure = table.assign(
        lower=table["lower"].where(~astride, 1.0),
        outcome=table["outcome"].where(~astride, "failed_between"),
    )
    after, _, audit = changed(unsure)
    assert astride.sum() > 0
    assert f"{astride.sum()} failures" in audit.loc[0, "consequence"]
    assert after.table["share_failed"].sum() == table["share_failed"].sum() - astride.sum()
