"""The visible priors: one per kind of part, the plant's own before the usual ones."""

import pandas as pd

from pumplife.fits.priors import shape_prior

GROUPS = pd.DataFrame(
    {"side": ["fluid", "fluid", "air", "air"], "part": ["ball", "x", "Pilot valve", "rod seal"]}
)


def test_each_kind_of_part_has_its_own_prior():
    median, spread = shape_prior(GROUPS, {})
    assert median.tolist() == [2.2, 2.2, 1.4, 1.8]
    assert (spread > 0).all()


def test_a_plants_own_prior_stands_for_its_part_alone_and_may_give_half():
    median, spread = shape_prior(GROUPS, {"pilot VALVE": {"shape": 1.1}, "ball": {"spread": 0.2}})
    assert median.tolist() == [2.2, 2.2, 1.1, 1.8]
    assert spread.tolist() == [0.2, 0.37, 0.35, 0.35]
