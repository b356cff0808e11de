"""A slice of the topic `regression`: 600 plants, so that a share of 90 % is known to 1.2 %."""

from tests.prove import regression

PLANTS = 600


def test_clustered_bounds_hold_the_scale_where_plain_ones_do_not():
    covered = regression._cover_groups(PLANTS, 30)
    assert 0.86 < covered["clustered"][:, 0].mean() < 0.94
    assert covered["plain"][:, 0].mean() < 0.82
    assert 0.86 < covered["clustered"][:, 1].mean() < 0.94
    assert 1.6 < float(covered["effect"][:, 0].mean()) < 2.5


def test_clustered_bounds_hold_the_ratio_of_two_services():
    covered = regression._cover_service(150, 30)
    assert covered["clustered"].mean() > 0.83
    assert covered["plain"].mean() < 0.84
