"""Visits that say the same are read once; what each is given is what it would have been alone."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumplife.lives.actions import Actions, read_actions
from pumplife.lives.history import Gathered, gather
from pumplife.lives.kinds import SAID, find_kinds, number_runs, read_visits
from pumplife.lives.marks import make_marks
from pumplife.lives.positions import build_positions, pump_parts
from pumplife.records.duty import build_duty
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock
from tests.prove.plants import make_plant, write_plant


@pytest.fixture(scope="module", params=[True, False], ids=["spoilt", "clean"])
def laid(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Gathered, pd.DataFrame]:
    """A plant with findings, issues, returns, orders of several rows; and its positions."""
    plant = make_plant(11, faults=request.param)
    records = read_records(write_plant(plant, tmp_path_factory.mktemp("plant") / "plant"))
    duty = build_duty(records)
    gathered = gather(records, duty, build_clock(records, duty))
    nobody = pd.DataFrame({"pump": np.zeros(0, np.int64), "part": np.zeros(0, object)})
    pumps = np.arange(len(records.pumps))
    positions = build_positions(pump_parts(records, pumps, gathered.tickets, nobody))
    return gathered, positions.assign(pos=np.arange(len(positions)))


def test_what_one_visit_gives_is_given_to_all_that_say_the_same(
    laid: tuple[Gathered, pd.DataFrame],
) -> None:
    gathered, positions = laid
    evidence = (gathered.issued, gathered.findings)
    kinds = find_kinds(gathered.visits, gathered.tickets, evidence, positions)
    assert len(np.unique(kinds.stands)) < 0.8 * len(kinds.stands)
    assert (kinds.shift != 0).any()
    common = (gathered.records, gathered.visits, gathered.tickets, evidence, positions)
    actions, marks, unplaced = read_visits(*common)
    alone = read_actions(gathered.records, gathered.tickets, evidence, positions)
    own_marks, own_unplaced = make_marks(gathered.visits, gathered.tickets, positions, alone)
    pd.testing.assert_frame_equal(marks, own_marks)
    pd.testing.assert_frame_equal(unplaced, own_unplaced.reset_index(drop=True))
    _assert_same_actions(actions, alone)


def _assert_same_actions(actions: Actions, alone: Actions) -> None:
    assert len(alone.findings) > 0
    pd.testing.assert_frame_equal(actions.slots, alone.slots)
    pd.testing.assert_frame_equal(actions.counts, alone.counts)
    kits = alone.kits.sort_values("visit", kind="stable", ignore_index=True)
    pd.testing.assert_frame_equal(actions.kits, kits)
    pd.testing.assert_frame_equal(actions.findings.loc[alone.findings.index], alone.findings)


def test_only_what_is_compared_is_read(laid: tuple[Gathered, pd.DataFrame]) -> None:
    """A column that a reader of visits asks for must be among those by which they are alike."""
    gathered, positions = laid
    few = [
        rows[["visit", "pump", *(["origin"] if name == "findings" else []), *SAID[name]]]
        for name, rows in (
            ("visits", gathered.visits),
            ("tickets", gathered.tickets),
            ("issued", gathered.issued),
            ("findings", gathered.findings),
        )
    ]
    layout = positions[["pump", "pos", *SAID["positions"]]]
    actions = read_actions(gathered.records, few[1], (few[2], few[3]), layout)
    marks, _ = make_marks(few[0], few[1], layout, actions)
    assert len(marks) > 0


@given(st.lists(st.lists(st.integers(0, 2), max_size=4), min_size=1, max_size=12))
def test_groups_have_one_number_where_their_rows_read_the_same(words: list[list[int]]) -> None:
    group = np.repeat(np.arange(len(words)), [len(word) for word in words])
    number = number_runs(
        group, np.array([n for word in words for n in word], dtype=np.int64), len(words)
    )
    alike = np.array([[one == other for other in words] for one in words])
    np.testing.assert_array_equal(number[:, None] == number, alike)
