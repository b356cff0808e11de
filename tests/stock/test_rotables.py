"""Spare pumps: Poisson counts, simulated ones, the choice of a number, and rebuild or replace."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pumplife.records.plant import Plant
from pumplife.stock.replacement import OwnCosts, weigh_new_pumps
from pumplife.stock.rotables import (
    PumpPool,
    RemovalTally,
    count_out,
    spares_for,
    weigh_spares,
)
from pumplife.study import run_study
from tests.plants import SETTINGS, pump_rows, small_plant

DAY = pd.Timestamp("2024-12-31")


def plant(**raw):
    return Plant(
        name="X", currency="EUR", usage_unit="hours", records_from=DAY, records_to=DAY, raw=raw
    )


@pytest.mark.parametrize(
    ("yearly", "days", "spares"),
    [(40, 14, (4, 5, 6)), (80, 14, (6, 7, 9)), (80, 30, (11, 12, 14))],
)
def test_spares_for_removals_at_random(yearly, days, spares):
    """Independently computed for this project; S with P(Poisson <= S - 1) at 90, 95 and 99 %."""
    assert tuple(spares_for(yearly, days, share) for share in (0.90, 0.95, 0.99)) == spares
    mean = yearly * days / 365.25
    for share, count in zip((0.90, 0.95, 0.99), spares, strict=True):
        assert stats.poisson.cdf(count - 1, mean) >= share > stats.poisson.cdf(count - 2, mean)


def removals(yearly, replicates, seed=0):
    rng = np.random.default_rng(seed)
    counts = rng.poisson(yearly, replicates)
    return np.repeat(np.arange(replicates), counts), rng.uniform(0.0, 365.25, counts.sum())


def test_simulated_removals_at_random_need_the_same_spares():
    replicate, day = removals(80.0, 3000)
    out = count_out(replicate, day, np.full(len(day), 14.0), 3000)
    assert [out.spares(share) for share in (0.90, 0.95, 0.99)] == [6, 7, 9]
    assert out.mean == pytest.approx(80 * 14 / 365.25, rel=0.02)


def test_only_the_mean_turnaround_counts_for_removals_at_random():
    """Palm's theorem: pumps out are Poisson with rate times mean, however turnarounds spread."""
    replicate, day = removals(60.0, 3000)
    days = np.random.default_rng(1).choice([4.0, 40.0], len(day))
    out = count_out(replicate, day, days, 3000)
    assert out.mean == pytest.approx(60 * 22 / 365.25, rel=0.02)
    spread = out.shares @ (np.arange(len(out.shares)) - out.mean) ** 2
    assert spread == pytest.approx(60 * 22 / 365.25, rel=0.06)


def test_doubt_about_the_rate_asks_for_more_spares():
    rng = np.random.default_rng(4)
    yearly = 80.0 * rng.gamma(4.0, 0.25, 3000)  # the same mean, half as wide again
    replicate, day = removals(yearly, 3000)
    out = count_out(replicate, day, np.full(len(day), 14.0), 3000)
    assert out.spares(0.95) > spares_for(80, 14, 0.95)


def test_pumps_out_by_hand():
    """Out on days 200 to 214 and 210 to 224; another future has none."""
    out = count_out(np.array([0, 0]), np.array([200.0, 210.0]), np.full(2, 14.0), 2)
    assert out.met.tolist() == [0, 1]
    assert out.spares(0.90) == 2
    # of two futures from day 14 on: two out for 4 days, one for 20
    assert out.shares[1:] == pytest.approx(np.array([20.0, 4.0]) / (2 * (365.25 - 14.0)))
    assert out.waiting([1, 2]) == pytest.approx([365.25 * out.shares[2], 0.0])


def test_work_done_within_the_day_takes_no_spare():
    """Three pumps out and back on day 100, 100 and 200: nobody ever finds another one missing."""
    day = np.array([100.0, 100.0, 200.0])
    out = count_out(np.zeros(3, np.intp), day, np.zeros(3), 1)
    assert out.met.tolist() == [0, 0, 0]
    assert out.mean == 0.0


def test_jobs_on_the_same_day_in_every_future_are_not_overlooked():
    out = count_out(np.arange(500), np.full(500, 111.0), np.full(500, 12.0), 500)
    assert out.mean == pytest.approx(12.0 / (365.25 - 12.0))


def pool(turnaround, *, price=1000.0, store=0, waiting=np.nan):
    return PumpPool(
        size_mm=50.0, materials="CR", services=("slip",), running=np.arange(10),
        in_store=np.arange(10, 10 + store), new_cost=price, source="plant.toml",
        turnaround=np.array([turnaround]), kit_waiting=waiting,
    )  # fmt: skip


def tally(yearly=80.0, replicates=1500):
    replicate, day = removals(yearly, replicates)
    pumps = np.random.default_rng(2).integers(0, 10, len(day))
    return RemovalTally(
        services=frozenset(["slip"]), replicates=replicates, found=[(pumps, replicate, day)]
    )


def weigh(one, place, yearly=80.0):
    return weigh_spares(one, tally(yearly), place, np.random.default_rng(0))


def test_the_number_costs_least_or_meets_the_service_level():
    costs = {"holding_per_year": 0.2, "waiting_per_day": 50.0}
    cheap = weigh(pool(14.0), plant(costs=costs))
    dear = weigh(pool(14.0, price=50000.0), plant(costs=costs))
    told = weigh(pool(14.0), plant(costs=costs, targets={"service_level": 0.95}))
    # one more is kept while 365.25 x P(more are out) x 50 exceeds 200: P > 1.1 %
    mean = 80 * 14 / 365.25
    assert cheap["spares_advised"] == stats.poisson.isf(200 / (365.25 * 50), mean)
    assert dear["spares_advised"] < cheap["spares_advised"]
    assert told["spares_advised"] == told["spares_95"] == 7


def test_spares_in_store_count():
    row = weigh(pool(14.0, store=3), plant(targets={"service_level": 0.95}))
    assert (row["spares_today"], row["buy"]) == (3, 4)
    assert row["why"].startswith("4 more than the 3 in store")
    mean = 80 * 14 / 365.25
    left = sum((n - 3) * stats.poisson.pmf(n, mean) for n in range(4, 40))
    assert row["waiting_today"] == pytest.approx(365.25 * left, rel=0.05)
    enough = weigh(pool(14.0, store=9), plant(targets={"service_level": 0.95}))
    assert enough["buy"] == 0
    assert enough["why"].startswith("2 more in store than needed")


def test_one_more_spare_against_a_shorter_turnaround():
    costs = {"holding_per_year": 0.2, "waiting_per_day": 50.0}
    row = weigh(pool(14.0, store=3), plant(costs=costs))
    assert row["one_more_costs"] == pytest.approx(200.0)
    mean = 80 * 14 / 365.25
    assert row["one_more_saves"] == pytest.approx(365.25 * 50 * stats.poisson.sf(3, mean), rel=0.05)
    shorter = 80 * (14 - row["same_as_days"]) / 365.25

    def short(spares, at):
        return sum((n - spares) * stats.poisson.pmf(n, at) for n in range(spares + 1, 40))

    assert short(3, shorter) == pytest.approx(short(4, mean), rel=0.12)


def test_waiting_for_kits_takes_spares():
    row = weigh(pool(30.0, waiting=16.0), plant())
    assert row["spares_95_no_waiting"] == 7  # 80 a year for 14 days
    assert row["spares_95"] == 12


def test_a_turnaround_that_nobody_knows_gives_no_number():
    nobody = PumpPool(
        size_mm=50.0, materials="CR", services=("slip",), running=np.arange(10),
        in_store=np.arange(0), new_cost=1.0, turnaround=np.zeros(0), source="not known",
        kit_waiting=np.nan,
    )  # fmt: skip
    row = weigh(nobody, plant())
    assert "spares_95" not in row
    assert row["why"] == "not known"


def weigh_pump(*, new=1000.0, rebuild=300.0, ratio=1.0, follows="", failures=400.0, **raw):
    own = OwnCosts(
        new=np.array([new]), planned=np.zeros(1), failures=np.array([failures]),
        ratio=np.array([ratio]), rebuild=np.array([rebuild]),
    )  # fmt: skip
    words = np.array([follows], dtype=object)
    said, why = weigh_new_pumps(own, np.ones(1, bool), words, plant(**raw))
    return said[0], why[0]


def test_an_excess_that_goes_with_the_pump_speaks_for_a_new_one():
    """400 a year at twice its peers' failures: 400 saved a year, 2000 in five years."""
    said, why = weigh_pump(ratio=2.0, follows="pump")
    assert said == "replace"
    assert "in 5 years 200 %" in why
    assert weigh_pump(ratio=2.0, follows="location")[0] == "rebuild"
    assert weigh_pump(ratio=2.0, follows="can't tell")[0] == "rebuild"


def test_years_and_discount_count():
    one = {"rotables": {"replace_years": 1}}
    assert weigh_pump(ratio=2.5, follows="pump", rebuild=300.0, **one)[0] == "rebuild"  # 300 + 600
    assert weigh_pump(ratio=2.5, follows="pump", rebuild=450.0, **one)[0] == "replace"
    dear = one | {"costs": {"discount_per_year": 0.5}}  # 450 + 600 / 1.5
    assert weigh_pump(ratio=2.5, follows="pump", rebuild=450.0, **dear)[0] == "rebuild"


def test_a_rebuild_as_dear_as_a_new_pump_is_none():
    assert weigh_pump(rebuild=1000.0)[0] == "replace"
    assert weigh_pump(rebuild=999.0)[0] == "rebuild"
    assert weigh_pump(new=np.nan) == ("", "new_cost isn't given")
    assert weigh_pump(rebuild=np.nan) == ("", "what a rebuild costs isn't known")


def test_a_plant_that_swaps_pumps_gets_a_row_per_kind(tmp_path):
    """Three pumps of one kind on the bench; a fourth lies in store from day 100 on."""
    spare = dict(pump_rows()[0]) | {"pump_id": "P-9", "location": "", "new_cost": 1500.0}
    moves = [{"pump_id": "P-9", "moved_on": "2020-04-10", "state": "in_store"}]
    settings = SETTINGS + "\n[rotables]\nbench = true\nturnaround_days = 20\n"
    folder = small_plant(tmp_path, pumps=[*pump_rows(), spare], moves=moves, plant_toml=settings)
    (row,) = run_study(folder, results=["stock"]).tables["rotables"].to_dict("records")
    assert (row["size_mm"], row["pumps"], row["spares_today"]) == (50, 3, 1)
    assert row["turnaround_source"] == "plant.toml"
    assert 0.5 < row["removals_per_year"] < 12
    assert row["spares_90"] <= row["spares_95"] <= row["spares_99"]
