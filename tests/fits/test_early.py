"""Early lives of the invented plant: found where diaphragms were mis-fitted, and only there."""

import pandas as pd
import pytest

from tests.prove.plants import Plant, beside_truth, make_plant, run_route


@pytest.fixture(scope="module")
def spoilt() -> tuple[Plant, pd.DataFrame]:
    """The demo and its fits beside the truth."""
    plant = make_plant(faults=True)
    return plant, beside_truth(run_route(plant)[-1], plant)


def test_early_lives_are_found_in_diaphragms_alone(spoilt: tuple[Plant, pd.DataFrame]) -> None:
    plant, table = spoilt
    early = table[table["early_share"] > 0]
    assert set(early["part"]) == {"diaphragm"}
    lives = plant.truth["lives"]
    share = lives.loc[lives["part"] == "diaphragm", "early"].mean()
    assert 0.02 < share < 0.06
    assert early["early_share"].iloc[0] == pytest.approx(share, rel=0.5)
    true_scale = plant.truth["settings"]["early_scale"]
    assert 0.5 < early["early_scale"].iloc[0] / true_scale < 2.0
    assert early["verdict"].str.contains("early lives found").all()


def test_left_unseen_they_would_make_wear_look_like_chance(
    spoilt: tuple[Plant, pd.DataFrame],
) -> None:
    """One Weibull through the same lives has a shape far below the truth; apart, they do not."""
    _, table = spoilt
    rich = table[(table["early_share"] > 0) & (table["failures"] >= 20)]
    assert len(rich) >= 3
    assert (rich["likely_shape"] / rich["true_shape"]).mean() < 0.75
    assert (rich["shape"] / rich["true_shape"]).mean() == pytest.approx(1.0, abs=0.15)


def test_no_early_life_is_seen_where_there_is_none() -> None:
    plant = make_plant(faults=False)
    assert not (run_route(plant)[-1].table["early_share"] > 0).any()
