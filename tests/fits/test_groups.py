"""Which lives are fitted together: sizes pooled unless the records tell them apart."""

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.fits.groups import FitRows, number_groups, share_out

from .lives import drawn_lives, fit, table_of


def two_sizes(factor: float, seed: int = 4):
    rng = np.random.default_rng(seed)
    return (
        drawn_lives(rng, 60, size_mm=50.0),
        drawn_lives(rng, 60, size_mm=80.0, scale=5000.0 * factor, censored_at=6000.0 * factor),
    )


def test_sizes_that_truly_differ_are_fitted_apart():
    fits, _, _ = fit(*two_sizes(1.8))
    assert fits.table["size_mm"].tolist() == [50.0, 80.0]
    small, large = fits.table["scale"]
    assert large / small == pytest.approx(1.8, rel=0.15)
    assert fits.find("slip", 80.0, "diaphragm", "CR", "") == 1


def test_sizes_that_do_not_differ_are_fitted_together_and_found_by_any_size():
    fits, _, _ = fit(*two_sizes(1.0))
    assert fits.table["size_mm"].isna().all()
    assert len(fits.table) == 1
    assert fits.table.loc[0, "failures"] + fits.table.loc[0, "suspensions"] == 120
    assert [fits.find("slip", size, "diaphragm", "CR", "") for size in (50.0, 25.0, np.nan)] == [
        0
    ] * 3
    assert fits.find("slip", 50.0, "diaphragm", "NBR", "") == -1
    assert fits.find("slip", 50.0, "diaphragm", "CR", "", endpoint="worn or failed") == -1


def test_like_sizes_are_hardly_ever_told_apart():
    """Thirty services of two like sizes at once: the test holds over all of them together.

    A split happens with probability 0.01 over all thirty, so this seed's none is no luck.
    """
    rng = np.random.default_rng(8)
    tables = [
        drawn_lives(rng, 30, service=f"service {number}", size_mm=size)
        for number in range(30)
        for size in (50.0, 80.0)
    ]
    fits, _, _ = fit(*tables)
    assert len(fits.table) == 30
    assert fits.table["size_mm"].isna().all()


def test_a_size_with_few_failures_stays_with_the_others():
    """Seven failures in one size, five times as late: too few to tell sizes apart."""
    rng = np.random.default_rng(2)
    many = drawn_lives(rng, 60, size_mm=50.0)
    few = table_of(np.linspace(20_000, 30_000, 7), np.ones(7), size_mm=80.0)
    assert fit(many, few)[0].table["size_mm"].isna().all()
    more = table_of(np.linspace(20_000, 30_000, 8), np.ones(8), size_mm=80.0)
    assert fit(many, more)[0].table["size_mm"].tolist() == [50.0, 80.0]


def test_only_the_service_whose_sizes_differ_is_split():
    rng = np.random.default_rng(5)
    plain = [drawn_lives(rng, 50, service="glaze", size_mm=size) for size in (25.0, 40.0)]
    fits, _, _ = fit(*two_sizes(2.0), *plain)
    sizes = fits.table.groupby("service")["size_mm"].apply(lambda column: column.isna().all())
    assert sizes.to_dict() == {"glaze": True, "slip": False}


def test_early_lives_in_one_size_do_not_make_sizes_differ():
    """Assembly faults in one size only; wear is the same in both."""
    rng = np.random.default_rng(6)
    small, large = two_sizes(1.0, seed=7)
    faults = table_of(100.0 * rng.exponential(size=12), np.ones(12), size_mm=80.0)
    fits, _, _ = fit(small, large, faults)
    assert (fits.table["early_share"] > 0).all()
    assert fits.table["size_mm"].isna().all()


@pytest.mark.parametrize("column", ["service", "side", "part", "material", "variant"])
def test_every_key_keeps_lives_apart(column):
    rng = np.random.default_rng(1)
    one, two = drawn_lives(rng, 9), drawn_lives(rng, 7, **{column: "other"})
    lives = fit(one, two)[1]
    groups, group = number_groups(lives)
    assert len(groups) == 2
    assert sorted(np.bincount(group).tolist()) == [7, 9]
    assert (groups.loc[group, column].to_numpy() == lives[column].to_numpy()).all()


def test_a_shared_failure_becomes_two_rows_and_loses_no_weight():
    age = np.array([100.0, 200.0, 300.0])
    rows = FitRows(
        lower=age, upper=age, entry=np.zeros(3), weight=np.ones(3), group=np.arange(3),
        life=np.arange(3),
    )  # fmt: skip
    out = share_out(rows, np.array([1.0, 0.25, 0.0]), np.array([False, True, True]))
    assert np.bincount(out.life, out.weight).tolist() == [1.0, 1.0, 1.0]
    failed = np.isfinite(out.upper)
    assert np.bincount(out.life[failed], out.weight[failed]).tolist() == [1.0, 0.25, 0.0]
    assert out.lower.tolist() == [100.0, 200.0, 300.0, 200.0, 300.0]
    with pytest.raises(RecordError, match="outside 0 to 1"):
        share_out(rows, np.array([1.0, 1.2, 0.0]), np.array([False, True, True]))
