"""Effects of service, material, size and duty on lives drawn with known ones."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pumplife.fits.build import Fits
from pumplife.fits.duty_effects import COLUMNS, find_duty_effects, gather_lives
from pumplife.lives.build import Lives
from pumplife.records.duty import Duty, lay_out_duty
from pumplife.records.tables import DUTY_COLUMNS, TABLES
from tests.fits.lives import fit, table_of

PUMPS, EACH = 60, 4


def duty_of(pumps: pd.DataFrame, moves: pd.DataFrame | None = None) -> Duty:
    """Duty of pumps with the given columns, the others blank."""
    numbers = [name for name in DUTY_COLUMNS if TABLES["pumps"].column(name).kind == "number"]
    blank = {name: np.nan if name in numbers else "" for name in DUTY_COLUMNS}
    never = {"commissioned_on": pd.NaT, "retired_on": pd.NaT}
    columns = ["pump", "moved_on", "state", "plan", *DUTY_COLUMNS]
    none = pd.DataFrame(columns=columns).astype({"pump": int, "moved_on": "datetime64[ns]"})
    for name in DUTY_COLUMNS:
        none[name] = none[name].astype(float if name in numbers else object)
    whole = none if moves is None else moves.assign(**{**blank, **moves})
    return lay_out_duty(pumps.assign(**{**blank, **never, **pumps}), whole)


def judge(
    pumps: pd.DataFrame, scale: np.ndarray, *, seed: int = 1, moves: pd.DataFrame | None = None,
    **words: object,
) -> pd.DataFrame:  # fmt: skip
    """Effects found from EACH lives of every pump, drawn at each pump's scale [h]."""
    rng = np.random.default_rng(seed)
    pump = np.repeat(np.arange(len(pumps)), EACH)
    life = scale[pump] * rng.weibull(2.5, len(pump))
    until = 1.3 * scale.mean() * rng.uniform(0.5, 1.5, len(pump))
    about = {"service": pumps["service"].to_numpy(object)[pump], "pump": pump} | words
    table = table_of(np.minimum(life, until), life <= until, **about)
    table = table.assign(end_on=pd.Timestamp("2024-06-01"))
    fits, settled, _ = fit(table)
    return effects_of(fits, settled, duty_of(pumps, moves))


def effects_of(fits: Fits, table: pd.DataFrame, duty: Duty) -> pd.DataFrame:
    blank = pd.DataFrame()
    lives = Lives(table=table, now=blank, visits=blank, unseen=blank)
    return find_duty_effects(fits, lives, duty).set_index("effect")


def fleet(**columns: object) -> pd.DataFrame:
    service = np.where(np.arange(PUMPS) % 2, "glaze", "slip")
    return pd.DataFrame({"service": service}).assign(**columns)


def spread(low: float, high: float, seed: int = 5) -> np.ndarray:
    return np.random.default_rng(seed).uniform(low, high, PUMPS)


def holds(row: pd.Series, truth: float, width: float) -> None:
    assert row["ratio_low"] < truth < row["ratio_high"]
    assert row["ratio_high"] / row["ratio_low"] < width


def test_pressure_acts_within_services():
    pressure = spread(3.0, 7.0)
    service = np.where(np.arange(PUMPS) % 2, 0.5, 1.0)
    found = judge(fleet(pressure=pressure), 5000.0 * service * (pressure / 5.0) ** -1.5)
    holds(found.loc["twice the air pressure"], 2.0**-1.5, 1.7)
    (level,) = [words for words in found.index if words.startswith("service")]
    turned = 0.5 if level == "service glaze against slip" else 2.0
    holds(found.loc[level], turned, 1.4)
    assert (found["note"] == "").all()
    assert found.loc["twice the air pressure", "pumps"] == PUMPS
    assert found.loc[level, "pumps"] == PUMPS / 2


def test_pressure_that_goes_with_service_is_not_told_apart():
    pressure = np.where(np.arange(PUMPS) % 2, 6.0, 3.0)
    found = judge(fleet(pressure=pressure), np.full(PUMPS, 5000.0) * (3.0 / pressure))
    row = found.loc["twice the air pressure"]
    assert np.isnan(row["life_ratio"])
    assert row["note"].startswith("confounded: always goes with service")
    (level,) = [words for words in found.index if words.startswith("service")]
    assert "holds twice the air pressure as well" in found.loc[level, "note"]


def test_nearly_going_with_service_is_doubted():
    pressure = np.where(np.arange(PUMPS) % 2, 6.0, 3.0) + 0.1 * spread(-1.0, 1.0)
    found = judge(fleet(pressure=pressure), np.full(PUMPS, 5000.0))
    assert "hardly told apart" in found.loc["twice the air pressure", "note"]


def test_longer_life_at_more_pressure_is_against_practice():
    pressure = spread(3.0, 7.0)
    found = judge(fleet(pressure=pressure), 5000.0 * (pressure / 5.0) ** 1.5)
    assert "against common practice" in found.loc["twice the air pressure", "note"]


def test_temperature_by_ten_degrees_and_strokes_by_doubling():
    heat, strokes = spread(-5.0, 60.0), spread(20.0, 90.0, seed=6)
    scale = 5000.0 * 0.8 ** ((heat - 25.0) / 10.0) * (strokes / 50.0) ** -0.4
    found = judge(fleet(temperature=heat, stroke_rate=strokes), scale)
    holds(found.loc["10 °C hotter"], 0.8, 1.2)
    holds(found.loc["twice the strokes per minute"], 2.0**-0.4, 1.4)


def test_a_pressure_of_nought_has_no_logarithm():
    pressure = spread(0.0, 6.0)
    pressure[0] = 0.0
    found = judge(fleet(pressure=pressure), 5000.0 * 0.8 ** (pressure - 3.0))
    holds(found.loc["1 bar more air pressure"], 0.8, 1.2)


def test_material_and_solids_are_levels():
    number = np.arange(PUMPS)
    solids = np.where(number % 3 == 0, "sand", "none")
    material = np.repeat(np.where(number // 2 % 2, "TPV", "CR"), EACH)
    scale = 5000.0 * np.where(number // 2 % 2, 1.6, 1.0) * np.where(number % 3 == 0, 0.5, 1.0)
    found = judge(fleet(solids=solids), scale, material=material)
    words = [words for words in found.index if not words.startswith("service")]
    for word in words:
        truth = 1.6 if word.startswith("material") else 0.5
        base = word.endswith(("against CR", "against none"))
        holds(found.loc[word], truth if base else 1.0 / truth, 1.5)
    assert len(words) == 2


def test_a_material_of_one_service_is_compared_there_alone():
    number = np.arange(PUMPS)
    special = (number % 2 == 1) & (number % 4 == 1)
    material = np.repeat(np.where(special, "NBR", "CR"), EACH)
    found = judge(fleet(), np.full(PUMPS, 5000.0), material=material)
    note = found.loc["material NBR against CR", "note"]
    assert note == "only fitted in glaze: compared within that service alone"


def test_too_few_failures_are_said():
    found = judge(fleet().head(6), np.full(6, 5000.0))
    assert found.index.tolist() == ["any"]
    assert found.loc["any", "note"] == "too few failures: 30 are needed"
    assert found.loc["any", "failures"] < 30.0


def test_a_level_on_two_pumps_is_left_out():
    service = np.where(np.arange(PUMPS) < 2, "wash", fleet()["service"])
    found = judge(fleet(service=service), np.full(PUMPS, 5000.0))
    row = found.loc["service wash"]
    assert row["note"] == "left out: 5 failures on 3 pumps are needed"
    assert (row["pumps"], row["failures"] >= 5) == (2, True)
    assert found["life_ratio"].notna().sum() == 1


def test_ten_failures_per_effect_are_asked_for():
    service = np.array([f"service {number // 10}" for number in range(PUMPS)])
    strokes = spread(20.0, 90.0)
    found = judge(fleet(service=service, stroke_rate=strokes).head(20), np.full(20, 5000.0))
    assert found["life_ratio"].notna().sum() == 2
    size = np.repeat(50.0 + np.arange(PUMPS) // 3, EACH)
    few = judge(fleet(service=service), np.full(PUMPS, 5000.0), size_mm=size)
    assert few.loc["size", "note"].startswith("too few failures: 2")


@pytest.mark.parametrize(
    ("known", "words", "estimated"),
    [
        (0.9, "not known for 24 lives: they are left out", True),
        (0.5, "known for 50 % of the lives only: not used", False),
    ],
)
def test_a_number_that_is_not_always_known(known, words, estimated):
    pressure = np.where(np.arange(PUMPS) < known * PUMPS, spread(3.0, 7.0), np.nan)
    found = judge(fleet(pressure=pressure), np.full(PUMPS, 5000.0))
    assert found.loc["air pressure", "note"] == words
    assert ("twice the air pressure" in found.index) is estimated


def test_the_duty_is_that_of_the_life_not_of_today():
    """Pressure falls by a move after the lives ended: the register's own pressure holds."""
    pressure = spread(3.0, 7.0)
    late = {"pump": np.arange(PUMPS), "moved_on": pd.Timestamp("2024-06-01"), "state": ""}
    moves = pd.DataFrame(late).assign(plan=False, pressure=1.0)
    scale = 5000.0 * (pressure / 5.0) ** -1.5
    found = judge(fleet(pressure=pressure), scale, moves=moves)
    holds(found.loc["twice the air pressure"], 2.0**-1.5, 1.7)


def test_early_lives_are_over_before_wear_is_compared():
    pumps = fleet()
    pump = np.repeat(np.arange(PUMPS), EACH)
    rng = np.random.default_rng(2)
    life = 5000.0 * rng.weibull(2.5, len(pump))
    life[::10] = 20.0
    service = pumps["service"].to_numpy(object)[pump]
    table = table_of(life, life > 0, service=service, pump=pump, end_on=pd.Timestamp("2024-06-01"))
    fits, settled, _ = fit(table)
    marked = fits.table.assign(early_share=0.1, early_scale=10.0)
    whole = fits.table.assign(early_share=0.0, early_scale=np.nan)
    one, two = (
        effects_of(replace(fits, table=told), settled, duty_of(pumps)) for told in (marked, whole)
    )
    lost = two["failures"].sum() - one["failures"].sum()
    assert lost == np.sum((life <= 30.0) & (service == one.index[0].split()[1]))
    assert one["ratio_high"].iloc[0] / one["ratio_low"].iloc[0] < (
        two["ratio_high"].iloc[0] / two["ratio_low"].iloc[0]
    )


def test_unlike_pumps_widen_the_bounds():
    alike = judge(fleet(), np.full(PUMPS, 5000.0)).iloc[0]
    unlike = 5000.0 * np.random.default_rng(3).lognormal(0.0, 0.6, PUMPS)
    apart = judge(fleet(), unlike).iloc[0]
    assert apart["ratio_high"] / apart["ratio_low"] > 1.3 * alike["ratio_high"] / alike["ratio_low"]


def test_the_table_has_its_columns_even_when_nothing_can_be_told():
    found = judge(fleet(), np.full(PUMPS, 5000.0), service="slip")
    assert found.reset_index().columns.sort_values().tolist() == sorted(COLUMNS)
    assert found["note"].tolist() == [
        "service, material, size and duty are alike for all its lives"
    ]


@pytest.mark.parametrize(("share", "left_out"), [(0.0001, False), (0.02, True)])
def test_lives_are_left_out_as_early_only_where_there_are_early_lives(share, left_out):
    """A share of early lives found elsewhere must not take the wear of this group away."""
    rng = np.random.default_rng(3)
    life = 1000.0 * rng.weibull(2.5, 200)
    pump = np.arange(200) % PUMPS
    service = fleet()["service"].to_numpy(object)[pump]
    table = table_of(life, np.ones(200, bool), service=service, pump=pump)
    table = table.assign(end_on=pd.Timestamp("2024-06-01"))
    fits, settled, _ = fit(table)
    found = fits.table.assign(early_share=share, early_scale=300.0)
    blank = pd.DataFrame()
    lives = Lives(table=settled, now=blank, visits=blank, unseen=blank)
    facts = gather_lives(replace(fits, table=found), lives, duty_of(fleet()))
    assert facts["early"].equals((facts["lower"] <= 900.0) & left_out)
    entries = np.where(left_out, np.minimum(900.0, facts["lower"]), 0.0)
    np.testing.assert_allclose(facts["entry"], entries)
