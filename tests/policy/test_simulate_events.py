"""The general simulator event by event: against a model in simpy under the same lives, by hand."""

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.policy import simulate_events
from pumplife.policy.simulate import simulate_side
from pumplife.policy.simulate_pump import nth_rebuilds
from pumplife.policy.simulate_way import INSPECTION, PLANNED, Inspection, Way, fixed_interval
from tests.policy.event_model import Worked, run_pump, run_side
from tests.policy.sides import draws

SIDES, POSITIONS, USAGE = 40, 4, 90.0
OLDER = np.array([3.0, np.inf, 6.0, 1.0])
SHARE = np.array([0.3, 0.0, 0.5, 0.1])
DELAY = np.array([2.0, 0.0, 4.0, 0.5])


@pytest.fixture
def tape(monkeypatch):
    """Fixed lives (sides, positions, generations), drawn by number in place of chance."""
    lives = 10.0 * np.random.default_rng(4).weibull(1.6, (SIDES, 2 * POSITIONS, 400)) + 0.01
    used = np.zeros(lives.shape[:2], int)

    def draw_lives(parts, rng):
        cell = np.divmod(parts.scale.astype(int), lives.shape[1])
        taken = lives[(*cell, used[cell])]
        np.add.at(used, cell, 1)
        return taken

    def draw_left(parts, age, rng):
        return draw_lives(parts, rng) - age

    monkeypatch.setattr(simulate_events, "draw_lives", draw_lives)
    monkeypatch.setattr(simulate_events, "draw_left", draw_left)
    return lives


def numbered(first=0):
    """Lives whose scale is their number on the tape."""
    number = np.arange(SIDES) * 2 * POSITIONS + np.arange(POSITIONS)[:, None] + first
    return draws(1.0, number + 0.5)


def run(way, *, lives=None, age=None, clock=0.0, scheduled=None, positions=POSITIONS):
    age = np.zeros((1, positions)) if age is None else np.asarray(age, float)[None]
    if way.whole_only and scheduled is None:
        scheduled = np.zeros((1, 0))  # nothing scheduled, which takes the general engine
    return simulate_side(
        age=age,
        known=np.ones(age.shape, bool),
        usage_per_year=np.ones(1),
        lives=numbered() if lives is None else lives,
        clock_age=np.array([clock]),
        years=USAGE,
        rng=np.random.default_rng(1),
        way=way,
        scheduled=scheduled,
    )


def rows_of(events, side):
    """Rows as the other model tells them."""
    rows = []
    for event in np.flatnonzero(events.replicate == side):
        also = events.also_position[events.also_event == event]
        rows.append(
            (
                round(float(events.time[event]), 6),
                int(events.position[event]),
                bool(events.kit[event]),
                tuple(sorted(also.tolist())),
            )
        )
    return sorted(rows)


WAYS = {
    "kit at failure": ({}, {}),
    "planned kit": ({"planned": fixed_interval(4.3)}, {"planned": 4.3}),
    "failed part": ({"kit_share": 0.0}, {"kit_at_failure": False}),
    "failed part and older": (
        {"kit_share": 0.0, "renew_older": OLDER},
        {"kit_at_failure": False, "older": OLDER.tolist()},
    ),
    "planned kit, failed part and older": (
        {"kit_share": 0.0, "renew_older": OLDER, "planned": fixed_interval(7.1)},
        {"kit_at_failure": False, "older": OLDER.tolist(), "planned": 7.1},
    ),
    "block": ({"block": 7.3}, {"block": 7.3}),
    "block, failed part": (
        {"block": 7.3, "kit_share": 0.0},
        {"block": 7.3, "kit_at_failure": False},
    ),
    "block and planned": (
        {"block": 9.7, "planned": fixed_interval(5.3)},
        {"block": 9.7, "planned": 5.3},
    ),
    "inspection": (
        {"kit_share": 0.0, "inspection": Inspection(every=1.7, delay_share=SHARE)},
        {
            "kit_at_failure": False,
            "every": 1.7,
            "delay": lambda position, life: SHARE[position] * life,
        },
    ),
    "inspection, kit at failure, older": (
        {
            "inspection": Inspection(every=1.7, delay_mean=DELAY, delay_shape=1e12),
            "renew_older": OLDER,
        },
        {
            "every": 1.7,
            "older": OLDER.tolist(),
            "delay": lambda position, life: min(DELAY[position], life),
        },
    ),
    "inspection, kit when worn": (
        {"inspection": Inspection(every=1.7, delay_share=SHARE, whole=True)},
        {
            "every": 1.7,
            "delay": lambda position, life: SHARE[position] * life,
            "kit_when_worn": True,
        },
    ),
    "inspection, kit when worn, failed part and older": (
        {
            "kit_share": 0.0,
            "inspection": Inspection(every=1.7, delay_share=SHARE, whole=True),
            "renew_older": OLDER,
        },
        {
            "kit_at_failure": False,
            "every": 1.7,
            "older": OLDER.tolist(),
            "delay": lambda position, life: SHARE[position] * life,
            "kit_when_worn": True,
        },
    ),
    "everything": (
        {
            "kit_share": 0.0,
            "inspection": Inspection(every=1.7, delay_share=SHARE),
            "renew_older": OLDER,
            "planned": fixed_interval(9.1),
            "block": 13.3,
        },
        {
            "kit_at_failure": False,
            "every": 1.7,
            "older": OLDER.tolist(),
            "delay": lambda position, life: SHARE[position] * life,
            "planned": 9.1,
            "block": 13.3,
        },
    ),
}


@pytest.mark.parametrize("name", WAYS)
def test_same_events_as_the_process_model_under_the_same_lives(tape, name):
    way, worked = WAYS[name]
    events = run(Way(**way))
    told = 0
    for side in range(SIDES):
        other = Worked(
            life=lambda position, number, side=side: tape[side, position, number],
            positions=POSITIONS,
            **worked,
        )
        expected = sorted(run_side(other, USAGE))
        assert rows_of(events, side) == expected
        told += len(expected)
    assert told > 300
    besides = "older" in name or "insp" in name or "every" in name
    assert (events.also_event.size > 0) == (besides and name != "inspection, kit when worn")


def test_same_events_from_today_s_ages(tape):
    age, clock = [0.9, 3.0, 0.2, 3.0], 3.0
    tape[:, :POSITIONS, 0] += 3.0
    events = run(
        Way(
            kit_share=0.0,
            planned=fixed_interval(8.3),
            renew_older=OLDER,
            inspection=Inspection(every=1.7, delay_share=SHARE),
        ),
        age=age,
        clock=clock,
    )
    for side in range(SIDES):
        other = Worked(
            life=lambda position, number, side=side: tape[side, position, number],
            positions=POSITIONS,
            kit_at_failure=False,
            planned=8.3,
            older=OLDER.tolist(),
            every=1.7,
            delay=lambda position, life: SHARE[position] * life,
            age=age,
            clock_age=clock,
        )
        assert rows_of(events, side) == sorted(run_side(other, USAGE))


@pytest.mark.parametrize("every", [1, 2, 3])
def test_same_events_of_both_sides_of_a_pump(tape, every):
    fluid = run(Way(planned=fixed_interval(6.1)))
    along = nth_rebuilds(fluid, np.ones(1), SIDES, every)
    air = run(Way(), lives=numbered(POSITIONS), scheduled=along)
    for side in range(SIDES):
        sides = [
            Worked(
                life=lambda position, number, side=side, first=first: tape[
                    side, first + position, number
                ],
                positions=POSITIONS,
                planned=planned,
            )
            for first, planned in ((0, 6.1), (POSITIONS, np.inf))
        ]
        expected = run_pump(*sides, every, USAGE)
        assert rows_of(fluid, side) == sorted(expected[0])
        assert rows_of(air, side) == sorted(expected[1])


def test_rebuilds_since_the_air_kit_went_along_are_carried_on(tape):
    fluid = run(Way(planned=fixed_interval(6.1)))
    usage = np.ones(1)
    all_of_them = nth_rebuilds(fluid, usage, SIDES, 1)
    one_done = nth_rebuilds(fluid, usage, SIDES, 3, done=np.array([1]))
    assert np.array_equal(one_done[0, :, 0], all_of_them[0, :, 1])
    assert np.array_equal(one_done[0, :, 1], all_of_them[0, :, 4])


def fixed(*lives):
    """Lives that are all but certain."""
    return draws(1e12, np.array(lives, float)[:, None])


def test_work_that_falls_together_is_one_job():
    # planned at 0.1, block at 0.3, inspections every 0.05: by rounding never quite at once
    way = Way(
        planned=fixed_interval(0.1),
        block=0.3,
        inspection=Inspection(every=0.05, delay_share=np.zeros(1)),
    )
    events = run(way, lives=fixed(1e6), age=[0.0])
    assert (events.position == PLANNED).sum() == pytest.approx(USAGE / 0.1, abs=1)
    assert (events.position == INSPECTION).sum() == pytest.approx(USAGE / 0.1, abs=1)


def test_inspection_by_hand():
    # signs 3 before the end: a life of 10 is found worn at 8, one of 6.5 at 4, and so on
    way = Way(
        kit_share=0.0,
        inspection=Inspection(every=4.0, delay_mean=np.full(2, 3.0), delay_shape=1e12),
    )
    events = run(way, lives=fixed(10.0, 6.5), age=[0.0, 0.0])
    rows = rows_of(events, 0)[:5]
    assert rows[0] == (4.0, INSPECTION, False, (1,))  # sign at 3.5
    assert rows[1] == (8.0, INSPECTION, False, (0, 1))  # signs at 7 and 7.5
    assert rows[2] == (12.0, INSPECTION, False, (1,))
    assert rows[3] == (16.0, INSPECTION, False, (0, 1))
    blind = Way(
        kit_share=0.0, inspection=Inspection(every=4.0, delay_mean=np.full(2, 3.0), detection=0.0)
    )
    events = run(blind, lives=fixed(10.0, 6.5), age=[0.0, 0.0])
    assert events.also_event.size == 0
    assert (events.position >= 0).sum() == 9 + 13


def test_a_life_shorter_than_its_delay_shows_from_the_fitting():
    way = Way(
        kit_share=0.0,
        inspection=Inspection(every=1.0, delay_mean=np.full(1, 50.0), delay_shape=1e12),
    )
    events = run(way, lives=fixed(10.0), age=[0.0])
    assert np.all(events.position == INSPECTION)
    assert events.also_event.size == events.time.size


def test_one_miss_after_another_leaves_the_part_until_it_fails():
    # the sign shows at looks 3 and 4 of 5: missed twice with probability 0.36
    way = Way(
        inspection=Inspection(
            every=1.0, delay_mean=np.full(1, 2.0), delay_shape=1e12, detection=0.4
        )
    )
    many = draws(np.full((1, 20_000), 1e12), 4.5)
    first = simulate_side(
        age=np.zeros((1, 1)),
        known=np.ones((1, 1), bool),
        usage_per_year=np.ones(1),
        lives=many,
        clock_age=np.zeros(1),
        years=4.7,
        rng=np.random.default_rng(1),
        way=way,
    )
    assert (first.position == 0).sum() / 20_000 == pytest.approx(0.36, abs=4 * 0.0034)


def test_scheduled_outages_renew_whatever_the_age():
    days = np.array([[2.0, 5.0, np.inf], [3.0, np.inf, np.inf]])
    events = simulate_side(
        age=np.zeros((2, 1)),
        known=np.ones((2, 1), bool),
        usage_per_year=np.array([1.0, 0.5]),
        lives=fixed(1e6),
        clock_age=np.zeros(2),
        years=20.0,
        rng=np.random.default_rng(1),
        way=Way(),
        scheduled=days,
    )
    times = sorted(zip(events.pump.tolist(), events.time.tolist(), strict=True))
    assert times == [(0, 2.0), (0, 5.0), (1, 6.0)]


def test_unknown_ages_are_drawn_below_the_block():
    events = simulate_side(
        age=np.zeros((1, 1)),
        known=np.zeros((1, 1), bool),
        usage_per_year=np.ones(1),
        lives=draws(np.full((1, 4_000), 1e3), 10.0),
        clock_age=np.zeros(1),
        years=5.9,
        rng=np.random.default_rng(1),
        way=Way(block=4.0),
    )
    assert np.all(events.position == PLANNED)


def test_pumps_without_usage_have_no_events_under_any_way():
    for usage in (0.0, np.nan):
        events = simulate_side(
            age=np.ones((1, 2)),
            known=np.zeros((1, 2), bool),
            usage_per_year=np.array([usage]),
            lives=draws(0.7, np.ones((2, 50))),
            clock_age=np.ones(1),
            years=3.0,
            rng=np.random.default_rng(1),
            way=Way(block=0.1, kit_share=0.0, renew_older=np.zeros(2)),
        )
        assert events.time.size == events.also_event.size == 0


def test_many_cycles_at_once_are_the_events_of_the_general_engine():
    """Failures and planned work in three years by pump and position, both engines, 10 sides."""
    scores = []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        share = rng.choice([0.0, 0.1], (3, 1))
        one = draws(rng.uniform(0.8, 3.5, (3, 1)), rng.uniform(2.0, 6.0, (3, 1)), share, 0.3)
        lives = one[np.array([0, 1, 1, 2])][:, np.zeros(2_000, int)]
        today = {
            "age": rng.uniform(0.0, 2.0, (3, 4)),
            "known": np.array([[True] * 4, [False] * 4, [True, True, False, True]]),
            "usage_per_year": np.array([2.0, 1.0, 4.0]),
            "lives": lives,
            "clock_age": np.full(3, 2.0),
            "years": 3.0,
            "way": Way(planned=fixed_interval(float(rng.uniform(1.5, 6.0)))),
        }
        counts = []
        for scheduled in (None, np.zeros((3, 0))):
            events = simulate_side(**today, rng=rng, scheduled=scheduled)
            cell = (events.pump * 2_000 + events.replicate) * 5 + events.position + 1
            counts.append(np.bincount(cell, minlength=30_000).reshape(3, 2_000, 5))
            assert np.all(events.time[events.pump == 1] <= 3.0)
            assert events.kit.all()
        mine, theirs = counts
        spread = np.sqrt((mine.var(axis=1) + theirs.var(axis=1)) / 2_000)
        scores.append(((mine.mean(axis=1) - theirs.mean(axis=1)) / spread)[spread > 0.0])
    z = np.concatenate(scores)
    assert z.size > 130
    assert abs(z.mean()) < 0.3
    assert 0.8 < z.std() < 1.2
    assert np.abs(z).max() < 4.5


@pytest.mark.parametrize("way", [None, Way()])
def test_lives_too_short_for_the_horizon_are_refused_by_both_engines(way):
    with pytest.raises(RecordError, match="check the usage unit of the meters"):
        simulate_side(
            age=np.zeros((1, 1)),
            known=np.ones((1, 1), bool),
            usage_per_year=np.ones(1),
            lives=draws([[2.0]], [[1e-6]]),
            clock_age=np.zeros(1),
            years=1.0,
            rng=np.random.default_rng(1),
            way=way,
            most_events=50,
        )


def test_arrays_must_fit_the_positions_and_the_pumps():
    with pytest.raises(RecordError, match="renew_older has the shape"):
        run(Way(kit_share=0.0, renew_older=np.zeros(1)))
    short = Inspection(every=1.0, delay_share=np.zeros(3))
    with pytest.raises(RecordError, match="the side has 4 positions"):
        run(Way(inspection=short))
    with pytest.raises(RecordError, match="doesn't fit 1 pumps"):
        run(Way(), scheduled=np.ones((2, 1)))


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda: Way(block=0.0), "the block must be above 0"),
        (lambda: Way(kit_share=1.2), "the share between 0 and 1"),
        (lambda: Inspection(every=1.0), "give one of delay_share and delay_mean"),
        (lambda: Inspection(every=1.0, delay_share=np.ones(1), detection=2.0), "between 0 and 1"),
        (lambda: Inspection(every=0.0, delay_share=np.ones(1)), "must be above"),
    ],
)
def test_ways_that_nobody_can_follow_are_refused(wrong, words):
    with pytest.raises(RecordError, match=words):
        wrong()
