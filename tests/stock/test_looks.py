"""What looks at the shelf must guard against, counted one by one beside all at once."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.stock.looks import count_looks, list_starts
from pumplife.stock.needs import Known, Needs, order_cells, sort_needs
from pumplife.stock.tally import tally, tally_rows

ITEMS, FUTURES = 3, 4
DAYS = st.one_of(
    st.integers(0, 260 * 64).map(lambda n: n / 64),  # sums are exact: which of two is first is sure
    st.sampled_from([0.0, 11.375, 30.0, 45.5, 60.0, 90.0]),
)


def needs_of(rows):
    key, replicate, day, planned = zip(*rows, strict=True) if rows else ((), (), (), ())
    return sort_needs(
        Needs(key=np.array(key, int), replicate=np.array(replicate, int),
              day=np.array(day, float), planned=np.array(planned, bool)),
        FUTURES,
    )  # fmt: skip


def jobs_of(rows):
    key, replicate, since, left, longer = zip(*rows, strict=True) if rows else ((),) * 5
    due = np.array(since, float) + np.array(left, float)
    until = np.where(np.array(longer, float) > 200.0, np.inf, due + np.array(longer, float))
    return Known(key=np.array(key, int), replicate=np.array(replicate, int),
                 since=np.array(since, float), due=due, until=until)  # fmt: skip


def one_by_one(needs, jobs, lead, ahead, review):
    """Spans (3, items, looks, futures), and item by item what was seen before each demand and
    before each planned job by the end of a span."""
    starts = list_starts(review)
    spans = np.zeros((3, ITEMS, len(starts), FUTURES), int)
    seen, late = ([[] for _ in range(ITEMS)] for _ in range(2))
    for item, look, future in np.ndindex(ITEMS, len(starts), FUTURES):
        start = starts[look]
        days = [d for k, r, d in zip(needs.key, needs.replicate, needs.day, strict=True)
                if (k, r) == (item, future)]  # fmt: skip
        planned = [p for k, r, p in zip(needs.key, needs.replicate, needs.planned, strict=True)
                   if (k, r) == (item, future)]  # fmt: skip
        known = sum(
            k == item and r == future and a <= start < u and d <= start + ahead[item]
            for k, r, a, d, u in zip(jobs.key, jobs.replicate, jobs.since, jobs.due, jobs.until,
                                     strict=True)
        )  # fmt: skip
        ends = [start + lead[item, future] + more for more in (0.0, review / 2, review)]
        for number, end in enumerate(ends):
            spans[number, item, look, future] = sum(start < d <= end for d in days) - known
        for place, (day, plan) in enumerate(zip(days, planned, strict=True)):
            if not plan and ends[0] < day <= ends[2]:
                seen[item].append(place - sum(d <= start for d in days) - known)
            before = place - sum(d <= start for d in days) - known
            for end, times in zip(ends, (1, 4, 1), strict=True):
                if plan and start < day <= end and before >= 0:
                    late[item] += [before] * times
    return spans, seen, late


@given(
    needs=st.lists(
        st.tuples(st.integers(0, ITEMS - 1), st.integers(0, FUTURES - 1), DAYS, st.booleans()),
        max_size=30,
    ),
    jobs=st.lists(
        st.tuples(st.integers(0, ITEMS - 1), st.integers(0, FUTURES - 1), DAYS, DAYS, DAYS),
        max_size=10,
    ),
    review=st.sampled_from([0.0, 7.0, 14.0, 30.0]),
    lead=st.sampled_from([0.0, 14.0, 30.0, 47.25]),
)
@settings(max_examples=80, deadline=None)
def test_all_at_once_as_one_by_one(needs, jobs, review, lead):
    asked, known = needs_of(needs), jobs_of(jobs)
    leads = lead + np.arange(ITEMS * FUTURES, dtype=float).reshape(ITEMS, FUTURES)
    ahead = leads[:, 0] + review
    found = count_looks(asked, known, (leads, ahead, review))
    spans, seen, late = one_by_one(asked, known, leads, ahead, review)
    whole = found.whole()
    for number in range(3):
        np.testing.assert_array_equal(whole[number], spans[number].reshape(ITEMS, -1))
    tallies = [*found.tallies(), found.tally_seen(), found.tally_late()]
    tallies = [rows.each() for rows in tallies]
    for item, several in enumerate(zip(*tallies, strict=True)):
        for number, one in enumerate(several):
            alone = tally((*spans[:, item], seen[item], late[item])[number])
            assert (one.highest, one.of) == (alone.highest, alone.of)
            assert one.times[-one.lowest :].tolist() == alone.times[-alone.lowest :].tolist()
            assert one.times[: -one.lowest][::-1][: -alone.lowest].tolist() == (
                alone.times[: -alone.lowest][::-1].tolist()
            )


@given(numbers=st.lists(st.integers(-4, 9), min_size=1, max_size=40))
def test_a_tally_says_what_the_numbers_say(numbers):
    found, whole = tally(numbers), np.array(numbers)
    assert found.of == len(numbers)
    assert found.highest == max(0, whole.max())
    assert found.below == pytest.approx(np.maximum(-whole, 0).mean())
    assert found.nothing == (not whole.any())
    shares = np.bincount(np.maximum(whole, 0)) / len(whole)
    np.testing.assert_allclose(found.shares(), shares)


def test_an_empty_tally_knows_nothing():
    nothing = tally([])
    assert (nothing.of, nothing.highest, nothing.nothing) == (0, 0, True)


def test_numbers_that_count_several_times():
    row, value, times = np.array([0, 1, 1]), np.array([2, 0, 2]), np.array([6, 1, 5])
    first, second = tally_rows(row, value, 2, np.zeros(2, int), times).each()
    assert first.times.tolist() == [0, 0, 6]
    assert second.times.tolist() == [1, 0, 5]


def test_rows_are_counted_apart_and_zeros_besides():
    counted = tally_rows(np.array([0, 0, 1]), np.array([2, -1, -1]), 2, np.array([1, 0]))
    first, second = counted.each()
    assert first.times.tolist() == [1, 1, 0, 1]
    assert second.times.tolist() == [1, 0]


@given(
    rows=st.lists(
        st.tuples(st.integers(0, 5), st.one_of(st.floats(0.0, 500.0), st.integers(0, 3))),
        max_size=40,
    )
)
def test_cells_and_days_are_ordered_as_by_two_keys(rows):
    cell = np.array([c for c, _ in rows], int)
    day = np.array([d for _, d in rows], float)
    np.testing.assert_array_equal(order_cells(cell, day), np.lexsort((day, cell)))


def test_days_too_close_to_tell_apart_in_one_number_are_ordered_too():
    cell = np.full(4, 10**12)
    day = np.array([100.0, 1e-7, 2e-7, 0.0])
    assert order_cells(cell, day).tolist() == [3, 1, 2, 0]
