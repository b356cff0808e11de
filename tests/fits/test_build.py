"""Fits of whole groups: estimates, bounds without failures, endpoints, shared failures, draws."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.special import gamma

from pumplife.fits.build import DRAWS
from pumplife.weibull.estimate import fit_weibull
from pumplife.weibull.life_bounds import bound_life

from .lives import drawn_lives, fit, table_of

LIKELY = "maximum likelihood, likelihood-ratio bounds"
PRIOR = "posterior with a prior on shape"
POOLED = "posterior with a prior on shape, pooled with like groups"


def direct_estimate(lives):
    """Shape and scale by a general minimiser on the log-likelihood written out."""
    age, failed = lives["lower"].to_numpy(), np.isfinite(lives["upper"]).to_numpy()

    def loss(point):
        shape, z = np.exp(point[0]), np.log(age) - point[1]
        return np.exp(shape * z).sum() - (failed * (point[0] + shape * z)).sum()

    best = minimize(loss, [0.5, np.log(age.mean())], method="BFGS", options={"gtol": 1e-9})
    return np.exp(best.x)


def test_enough_failures_give_the_maximum_of_the_likelihood():
    lives = drawn_lives(np.random.default_rng(3), 80)
    row = fit(lives)[0].table.iloc[0]
    np.testing.assert_allclose([row["shape"], row["scale"]], direct_estimate(lives), rtol=1e-5)
    assert row["failures"] == np.isfinite(lives["upper"]).sum()
    assert row["failures"] + row["suspensions"] == 80
    assert row["method"] == LIKELY
    assert row["b10"] == pytest.approx(row["scale"] * np.log(1 / 0.9) ** (1 / row["shape"]))
    assert row["mean_life"] == pytest.approx(row["scale"] * gamma(1 + 1 / row["shape"]))
    assert row["early_share"] == 0
    asked = {"b10": {"quantity": "quantile", "at": 0.1}, "mean_life": {"quantity": "mean"}}
    for name, question in asked.items():
        life = bound_life(lives["lower"], lives["upper"], **question)
        assert row[f"{name}_low"] == pytest.approx(life.low)
        assert row[f"{name}_high"] == pytest.approx(life.high)


@pytest.mark.parametrize(("failures", "method"), [(4, PRIOR), (29, PRIOR), (30, LIKELY)])
def test_below_thirty_failures_the_prior_on_shape_carries_weight(failures, method):
    ages = np.linspace(2000, 5000, failures)
    lives = table_of(np.append(ages, [5500.0] * 20), np.arange(failures + 20) < failures)
    row = fit(lives)[0].table.iloc[0]
    assert row["method"] == method
    assert (row["prior_share"] > 0) == (method == PRIOR)
    assert row["borrowed_share"] == 0


def test_point_and_bounds_of_a_row_come_from_one_method():
    """The posterior's own medians and quantiles, in every quantity, where it stands."""
    rng = np.random.default_rng(31)
    fits = fit(*[drawn_lives(rng, 12, service=f"s{n}", censored_at=4500.0) for n in range(3)])[0]
    assert (fits.table["method"] == POOLED).all()
    shape, scale = fits.draws.shape, fits.draws.scale
    drawn = {
        "shape": shape,
        "scale": scale,
        "b10": scale * (-np.log(0.9)) ** (1 / shape),
        "mean_life": fits.draws.mean(),
    }
    for name, values in drawn.items():
        for end, level in (("_low", 0.05), ("", 0.5), ("_high", 0.95)):
            expected = np.quantile(values, level, axis=1)
            np.testing.assert_allclose(fits.table[f"{name}{end}"], expected, rtol=0.08)


def test_a_service_with_two_failures_borrows_from_the_others_and_one_alone_does_not():
    rng = np.random.default_rng(33)
    others = [drawn_lives(rng, 40, service=f"s{n}") for n in range(4)]
    few = table_of([3000.0, 4000.0] + [4200.0] * 12, np.arange(14) < 2, service="new")
    alone = fit(few)[0].table.iloc[0]
    table = fit(*others, few)[0].table.set_index("service")
    lent = table.loc["new"]
    assert alone["borrowed_share"] == 0
    assert lent["borrowed_share"] > 0.5
    assert lent["standing"] == "borrowed mostly from other groups"
    assert f"({100 * lent['borrowed_share']:.0f} %)" in lent["verdict"]
    assert np.log(lent["b10_high"] / lent["b10_low"]) < 0.7 * np.log(
        alone["b10_high"] / alone["b10_low"]
    )
    assert (table.drop("new")["borrowed_share"] < 0.5).all()


def test_another_part_lends_nothing():
    rng = np.random.default_rng(34)
    few = table_of([3000.0, 4000.0] + [4200.0] * 12, np.arange(14) < 2)
    alone = fit(few)[0].table.iloc[0]
    beside = fit(few, *[drawn_lives(rng, 40, part="ball", service=f"s{n}") for n in range(3)])[0]
    row = beside.table.set_index("part").loc["diaphragm"]
    for name in ("shape", "scale", "b10", "b10_low", "b10_high"):
        assert row[name] == pytest.approx(alone[name], rel=1e-9)
    assert row["borrowed_share"] == 0


def test_the_plants_own_prior_and_rules_are_used_and_noted():
    ages = np.linspace(2000, 5000, 6)
    lives = table_of(np.append(ages, [5500.0] * 20), np.arange(26) < 6)
    settings = {
        "prior": {"diaphragm": {"shape": 4.0, "spread": 0.05}, "hose": {"shape": 2.0}},
        "evidence": {"likelihood": 6, "weak": 7},
    }
    usual, _, _ = fit(lives)
    prior_only = fit(lives, settings={"prior": settings["prior"]})[0].table.iloc[0]
    both, _, audit = fit(lives, settings=settings)
    assert usual.table["shape"][0] < prior_only["shape"]
    assert prior_only["shape"] == pytest.approx(4.0, rel=0.05)
    assert both.table["method"][0] == LIKELY
    assert both.table["evidence"][0] == "indicative"
    rules = audit.set_index("rule")["what"]
    assert "prior on the shape of diaphragm is 4 with spread 0.05" in rules["changed_prior"]
    assert "prior for hose, of which there are no lives" in rules["unknown_prior"]
    assert len(audit[audit["rule"] == "changed_evidence"]) == 2
    assert audit.set_index("rule").loc["unknown_prior", "severity"] == "caution"


def test_one_failure_is_an_estimate_close_to_the_prior_and_very_wide():
    lives = table_of([3000.0] + [4000.0] * 30, [True] + [False] * 30)
    row = fit(lives)[0].table.iloc[0]
    assert row["shape"] == pytest.approx(2.2, rel=0.15)
    assert row["prior_share"] > 0.7
    assert row["scale_high"] / row["scale_low"] > 3
    assert row["verdict"].startswith("indicative: 1 failure, too few to decide")
    assert 2 <= row["more_failures"] <= 4


def test_no_failure_gives_a_bound_and_no_estimate():
    """Scale above (Σ t^m / ln 20)^(1/m) with 95 % confidence, m the prior's median shape."""
    ages = np.array([1500.0, 2500.0, 4000.0, 4000.0])
    row = fit(table_of(ages, np.zeros(4)))[0].table.iloc[0]
    bound = ((ages**2.2).sum() / np.log(20)) ** (1 / 2.2)
    assert row["scale_low"] == pytest.approx(bound, rel=1e-12)
    assert row[["shape", "shape_low", "scale", "scale_high", "b10", "mean_life"]].isna().all()
    assert row["verdict"].startswith("no failures: a bound, not an estimate")
    assert row["failures"] == 0


def test_the_bound_without_failures_counts_only_what_was_watched():
    late = table_of([4000.0] * 3, np.zeros(3)).assign(entry=3000.0)
    row = fit(late)[0].table.iloc[0]
    bound = (3 * (4000.0**2.2 - 3000.0**2.2) / np.log(20)) ** (1 / 2.2)
    assert row["scale_low"] == pytest.approx(bound, rel=1e-12)


def test_bounds_hold_the_estimate_between_them():
    rng = np.random.default_rng(9)
    tables = [
        drawn_lives(rng, number, service=f"s{number}", shape=shape)
        for number, shape in ((6, 1.0), (12, 2.0), (25, 3.0), (60, 1.4), (200, 2.5))
    ]
    table = fit(*tables)[0].table
    for name in ("shape", "scale", "b10", "mean_life"):
        assert (table[f"{name}_low"] < table[name]).all()
        assert (table[name] < table[f"{name}_high"]).all()
    spread = np.log(table["scale_high"] / table["scale_low"])
    assert spread[table["failures"].idxmax()] == spread.min()


# ---- second endpoint ----------------------------------------------------------------------------


def with_worn(number_worn):
    """Sixty lives of which some that would have been suspended were pulled on condition."""
    lives = drawn_lives(np.random.default_rng(12), 60, censored_at=4500.0)
    chosen = lives.index[lives["outcome"] == "suspended"][:number_worn]
    assert len(chosen) == number_worn
    lives.loc[chosen, "outcome"] = "worn"
    lives.loc[chosen, "upper"] = lives.loc[chosen, "lower"]
    return lives


def test_many_worn_lives_add_a_second_endpoint():
    fits, _, _ = fit(with_worn(12))
    table = fits.table.set_index("endpoint")
    assert list(table.index) == ["failed", "worn or failed"]
    assert table["failures"].diff().iloc[1] == 12
    assert table.loc["failed", "scale"] > table.loc["worn or failed", "scale"]
    assert fits.find("slip", 50.0, "diaphragm", "CR", "", endpoint="worn or failed") == 1
    assert len(fits.draws) == 2


def test_a_tenth_worn_is_not_yet_a_second_endpoint():
    assert fit(with_worn(6))[0].table["endpoint"].tolist() == ["failed"]
    assert len(fit(with_worn(7))[0].table) == 2


def test_a_worn_life_counts_as_suspended_at_its_age_for_the_endpoint_failed():
    """Where the plant says that wear tells nothing of the life left."""
    worn, plain = with_worn(12), with_worn(0)
    nothing = {"evidence": {"worn_life_spent": 0}}
    one = fit(worn, settings=nothing)[0].table.iloc[0]
    two = fit(plain, settings=nothing)[0].table.iloc[0]
    assert one["shape"] == pytest.approx(two["shape"], rel=1e-9)
    assert one["scale"] == pytest.approx(two["scale"], rel=1e-9)


def test_a_part_pulled_as_worn_is_near_its_end():
    """Looks every 3000 h pull what has two thirds of its life behind it: it might not last on."""
    life = 10_000.0 * np.random.default_rng(5).weibull(2.5, 2_000)
    looked = 3_000.0 * np.ceil(0.67 * life / 3_000.0)
    pulled = looked < life
    lives = table_of(np.where(pulled, looked, life), ~pulled)
    lives.loc[pulled, "outcome"] = "worn"
    lives.loc[pulled, "upper"] = lives.loc[pulled, "lower"]
    tables = [
        fit(lives, settings={"evidence": {"worn_life_spent": spent}})[0].table for spent in (0, 0.5)
    ]
    (naive, near), failures = [table["scale"][0] for table in tables], (~pulled).sum()
    assert naive > 20_000.0
    assert near == pytest.approx(10_000.0, rel=0.12)  # the true share is two thirds
    assert [table["failures"][0] for table in tables] == [failures, failures]
    audit = fit(lives)[2].set_index("rule")
    assert "before its age / 0.5" in audit.loc["pulled_as_worn", "consequence"]


def test_endpoints_never_mix_in_one_fit():
    """Rows of "failed" end failed or suspended; a worn part is an event of the other one only."""
    worn = with_worn(12)
    worn.loc[worn.index[worn["outcome"] == "worn"][:4], "lower"] = 0.0  # worn between two looks
    fits, lives, _ = fit(worn)
    was_worn = (lives["outcome"] == "worn").to_numpy()
    for number, endpoint in enumerate(fits.table["endpoint"]):
        mine = fits.rows.group == number
        ended = np.isfinite(fits.rows.upper[mine])
        by_wear = was_worn[fits.rows.life[mine]]
        assert by_wear.sum() == 12
        if endpoint == "failed":
            assert not ended[by_wear].any()
            age = lives["upper"].to_numpy()[fits.rows.life[mine][by_wear]]
            np.testing.assert_array_equal(fits.rows.lower[mine][by_wear], age)
        else:
            assert ended[by_wear].all()
    assert len(fits.rows.group) == 120


# ---- form of life -------------------------------------------------------------------------------


def test_the_table_says_what_form_of_life_fits():
    rng = np.random.default_rng(31)
    wear = drawn_lives(rng, 150, service="wear", part="ball", shape=3.0)
    steady = drawn_lives(rng, 150, service="steady", part="seat", shape=1.0)
    few = drawn_lives(rng, 9, service="few", censored_at=3000.0)
    age = 4000.0 * np.exp(rng.normal(0.0, 0.5, 400))
    skewed = table_of(np.minimum(age, 9000.0), age < 9000.0, service="skewed", part="manifold")
    table = fit(wear, steady, few, skewed)[0].table.set_index("service")
    assert table["best_life"].to_dict() == {
        "wear": "weibull", "steady": "exponential", "few": "", "skewed": "lognormal",
    }  # fmt: skip
    assert np.isnan(table.loc["few", "goodness_p"])
    assert table.loc[["wear", "steady"], "goodness_p"].gt(0.02).all()
    assert table.loc["skewed", "goodness_p"] < 0.05
    assert table.loc["skewed", "lognormal_gain"] > 2.0
    assert "a lognormal life fits these records better" in table.loc["skewed", "verdict"]
    assert "a constant failure rate fits as well as wear" in table.loc["steady", "verdict"]


def test_forms_are_compared_where_lives_enter_late_or_lie_between_looks():
    """What general libraries don't read is compared too."""
    rng = np.random.default_rng(32)
    lives = drawn_lives(rng, 200, shape=3.0)
    late = rng.random(200) < 0.3
    entry = np.where(late, 0.4 * lives["lower"], 0.0)
    between = np.isfinite(lives["upper"]) & ~late & (rng.random(200) < 0.3)
    look = 500.0 * np.floor(lives["lower"] / 500.0)
    lives = lives.assign(
        entry=entry,
        lower=lives["lower"].where(~between, look),
        upper=lives["upper"].where(~between, look + 500.0),
    )
    row = fit(lives)[0].table.iloc[0]
    assert row["best_life"] == "weibull"
    assert row["goodness_p"] > 0.02


def test_early_lives_are_taken_out_before_the_form_is_judged():
    """Assembly faults bend the line; what is left is Weibull and doesn't look like chance."""
    rng = np.random.default_rng(33)
    lives = drawn_lives(rng, 400, shape=3.0, censored_at=5000.0)
    early = rng.random(400) < 0.06
    age = np.where(early, rng.exponential(60.0, 400), lives["lower"])
    upper = np.where(early, age, lives["upper"])
    failed = np.isfinite(upper)
    outcome = np.where(failed, "failed", "suspended")
    lives = lives.assign(lower=age, upper=upper, outcome=outcome, share_failed=1.0 * failed)
    row = fit(lives)[0].table.iloc[0]
    assert row["early_share"] == pytest.approx(0.06, abs=0.025)
    assert row["goodness_p"] > 0.02
    assert row["best_life"] == "weibull"
    assert "no sign of wear" not in row["verdict"]
    assert "wears out" in row["verdict"]


# ---- failures whose part nobody named -----------------------------------------------------------


def with_shared(age=2000.0):
    """Named failures of an early and a late part, and six breakdowns that name neither."""
    rng = np.random.default_rng(21)
    early = drawn_lives(rng, 60, part="diaphragm", scale=3000.0, censored_at=3000.0)
    late = drawn_lives(rng, 60, part="ball", scale=6000.0, censored_at=3000.0)
    events = [
        table_of([age], [True], part=part, event=event).assign(share_failed=0.5)
        for event in range(6)
        for part in ("diaphragm", "ball")
    ]
    return early, late, *events


def test_shares_of_a_breakdown_sum_to_one_and_follow_the_hazards():
    fits, lives, _ = fit(*with_shared())
    shared = lives[lives["event"] >= 0]
    sums = shared.groupby("event")["share_failed"].sum()
    np.testing.assert_allclose(sums, 1.0, rtol=1e-9)
    share = shared.groupby("part")["share_failed"].first()
    rows = fits.table.set_index("part")
    rates = rows["shape"] / rows["scale"] * (2000.0 / rows["scale"]) ** (rows["shape"] - 1)
    assert share["diaphragm"] == pytest.approx(rates["diaphragm"] / rates.sum(), rel=0.01)
    assert share["diaphragm"] > 0.7
    assert (lives.loc[lives["event"] < 0, "share_failed"].isin([0.0, 1.0])).all()


def test_shared_failures_count_as_their_shares():
    fits, lives, _ = fit(*with_shared())
    counted = lives.groupby("part")["share_failed"].sum()
    fitted = fits.table.set_index("part")["failures"]
    np.testing.assert_allclose(fitted[counted.index], counted, rtol=1e-9)
    total = fits.table["failures"].sum() + fits.table["suspensions"].sum()
    assert total == pytest.approx(132)


def test_bounds_and_draws_are_wider_where_nobody_named_the_part():
    """Eighteen of the failures shared out, against the same had their shares been known."""
    rng = np.random.default_rng(22)
    first = drawn_lives(rng, 40, part="diaphragm", scale=3000.0, censored_at=3000.0)
    second = drawn_lives(rng, 40, part="ball", scale=3500.0, censored_at=3000.0)
    events = [
        table_of([age], [True], part=part, event=event).assign(share_failed=0.5)
        for event, age in enumerate(rng.uniform(500.0, 2900.0, 18))
        for part in ("diaphragm", "ball")
    ]
    fits = fit(first, second, *events)[0]
    rows, table = fits.rows, fits.table
    likely = fit_weibull(rows.lower, rows.upper, rows.entry, rows.weight, group=rows.group)
    for name in ("shape", "scale"):
        mine = np.log(table[f"{name}_high"] / table[f"{name}_low"])
        known = np.log(getattr(likely, f"{name}_high") / getattr(likely, f"{name}_low"))
        assert (mine > 1.01 * known).all()
        assert (mine / known).max() > 1.05
        drawn = np.log(getattr(fits.draws, name)).std(axis=1)
        assert (drawn > 0.85 * mine / 3.29).all()
    asked = {"b10": {"quantity": "quantile", "at": 0.1}, "mean_life": {"quantity": "mean"}}
    for name, question in asked.items():
        known = bound_life(
            rows.lower, rows.upper, rows.entry, rows.weight, group=rows.group, **question
        )
        mine = np.log(table[f"{name}_high"] / table[f"{name}_low"])
        assert (mine > 1.01 * np.log(known.high / known.low)).all()
    assert "too narrow" not in " ".join(table["verdict"])


def test_a_failure_among_several_alike_follows_the_hazards_of_their_ages():
    """One of 600 h, one of 2400 h, shape 2.5: the older one is 8 times as likely."""
    rng = np.random.default_rng(23)
    named = drawn_lives(rng, 200, scale=3000.0)
    pair = table_of([600.0, 2400.0], [True, True], event=7).assign(share_failed=0.5)
    fits, lives, _ = fit(named, pair)
    share = lives.loc[lives["event"] == 7, "share_failed"].to_numpy()
    shape = fits.table.iloc[0]["likely_shape"]
    assert share.sum() == pytest.approx(1.0)
    assert share[1] / share[0] == pytest.approx(4.0 ** (shape - 1.0), rel=1e-3)


# ---- draws --------------------------------------------------------------------------------------


def test_draws_have_one_row_per_fit_and_follow_the_seed():
    rng = np.random.default_rng(14)
    tables = drawn_lives(rng, 40), drawn_lives(rng, 40, part="ball"), table_of([900.0], [False])
    one, two, other = fit(*tables, seed=3)[0], fit(*tables, seed=3)[0], fit(*tables, seed=4)[0]
    names = ("shape", "scale", "early_share", "early_scale")
    for name in names:
        drawn = getattr(one.draws, name)
        assert drawn.shape == (len(one.table), DRAWS)
        assert np.isfinite(drawn).all()
        np.testing.assert_array_equal(drawn, getattr(two.draws, name))
    assert (one.draws.scale > 0).all()
    assert not np.array_equal(one.draws.scale, other.draws.scale)
    assert not one.draws.early_share.any()


def test_draws_lie_around_the_estimate():
    fits = fit(drawn_lives(np.random.default_rng(15), 300))[0]
    row = fits.table.iloc[0]
    for name in ("shape", "scale"):
        drawn = getattr(fits.draws, name)[0]
        assert np.median(drawn) == pytest.approx(row[name], rel=0.05)
        low, high = np.quantile(drawn, [0.05, 0.95])
        assert (high - low) == pytest.approx(row[f"{name}_high"] - row[f"{name}_low"], rel=0.25)


def test_fits_do_not_depend_on_the_row_order():
    lives = pd.concat(with_shared(), ignore_index=True)
    turned = lives.sample(frac=1.0, random_state=1).reset_index(drop=True)
    one, two = fit(lives)[0].table, fit(turned)[0].table
    for name in ("shape", "scale", "scale_low", "scale_high", "failures"):
        np.testing.assert_allclose(one[name], two[name], rtol=1e-6)


@settings(max_examples=6, deadline=None)
@given(factor=st.floats(0.001, 1000.0), seed=st.integers(0, 50))
def test_another_unit_of_usage_scales_only_the_scale(factor, seed):
    lives = drawn_lives(np.random.default_rng(seed), 30)
    scaled = lives.assign(lower=lives["lower"] * factor, upper=lives["upper"] * factor)
    one, two = fit(lives)[0].table.iloc[0], fit(scaled)[0].table.iloc[0]
    for name in ("shape", "shape_low", "shape_high"):
        assert two[name] == pytest.approx(one[name], rel=1e-6)
    for name in ("scale", "scale_low", "scale_high", "b10", "mean_life"):
        assert two[name] == pytest.approx(factor * one[name], rel=1e-6)
