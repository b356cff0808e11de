"""A slice of the topic `materials`: 80 pairs of alike materials, 10 plants of each design.

80 times 90 % vary by 3.4 points.
"""

from tests.prove import materials


def test_alike_materials_have_1_within_their_bounds_as_often_as_promised():
    held, independent, off, _ = materials._cover(80, 20, 1.0, 0.35)
    assert 0.80 < held.value < 0.98
    assert independent.value < held.value - 0.05
    assert abs(off.value) < 0.05


def test_records_that_can_not_tell_are_flagged_and_clean_ones_are_not():
    assert all(one.passes for one in materials._flag(10))
