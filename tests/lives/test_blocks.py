"""Lives built for some pumps at a time are those built for all at once."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pumplife.lives import build
from pumplife.lives.blocks import cut_pumps
from pumplife.lives.build import Lives, build_lives
from pumplife.lives.history import gather
from pumplife.records.duty import Duty, build_duty
from pumplife.records.read import Records, read_records
from pumplife.records.usage import UsageClock, build_clock
from tests.prove.plants import make_plant, write_plant

TABLES = ("table", "now", "visits", "unseen", "shocks", "dated", "account")


def read(folder: Path) -> tuple[Records, Duty, UsageClock]:
    records = read_records(folder)
    duty = build_duty(records)
    return records, duty, build_clock(records, duty)


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant with spoilt records: all kinds of lives, shocks and failures nobody placed."""
    return write_plant(make_plant(7, faults=True), tmp_path_factory.mktemp("plant") / "plant")


@pytest.fixture(scope="module")
def at_once(plant: Path) -> tuple[Lives, pd.DataFrame]:
    route = read(plant)
    lives = build_lives(*route)
    assert (lives.table["event"] >= 0).any()
    return lives, route[0].log.frame()


@pytest.mark.parametrize("most", [60, 400])
def test_blocks_and_one_go_agree(
    plant: Path,
    at_once: tuple[Lives, pd.DataFrame],
    most: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    whole, audit = at_once
    monkeypatch.setattr(build, "MOST_TICKETS", most)
    route = read(plant)
    lives = build_lives(*route)
    for name in TABLES:
        pd.testing.assert_frame_equal(getattr(lives, name), getattr(whole, name), obj=name)
    pd.testing.assert_frame_equal(route[0].log.frame(), audit, obj="audit")


def test_a_failure_shared_among_several_alike_keeps_its_number(
    at_once: tuple[Lives, pd.DataFrame],
) -> None:
    """The plant holds both kinds of shared failures, or the agreement above says little."""
    whole, _ = at_once
    visits = 1 + whole.visits["visit"].max()
    event = whole.table["event"].to_numpy()
    assert ((event >= 0) & (event < visits)).any()
    assert (event >= visits).any()


@pytest.mark.parametrize("most", [1, 25, 10**9])
def test_every_pump_is_in_one_block(plant: Path, most: int) -> None:
    route = read(plant)
    gathered = gather(*route)
    blocks = list(cut_pumps(gathered, most))
    np.testing.assert_array_equal(np.concatenate(blocks), np.arange(len(route[0].pumps)))
    assert len(blocks) == {1: len(route[0].pumps), 10**9: 1}.get(most, len(blocks))
