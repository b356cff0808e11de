"""Twelve figures say and draw what they did when somebody last looked at them."""

import io
from pathlib import Path

import pandas as pd
import pytest

from pumplife.report.drawn import Drawn
from tests.report.twelve import DATA, FOLDER, KINDS, draw_twelve, tell

RENEW = "look at the figure; if it is right: python -m tests.report.twelve"


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Drawn]:
    return {figure.name: figure for figure in draw_twelve(tmp_path_factory.mktemp("twelve"))}


def test_each_snapshot_is_of_a_figure() -> None:
    assert len(KINDS) == 12
    assert {path.stem for path in FOLDER.glob("*")} == set(KINDS)


@pytest.mark.parametrize("name", KINDS)
def test_a_figure_is_as_it_was(drawn: dict[str, Drawn], name: str) -> None:
    kept = (Path(FOLDER) / f"{name}.txt").read_text(encoding="utf-8")
    (words, data), (old_words, old_data) = (
        text.split(f"\n{DATA}\n") for text in (tell(drawn[name]), kept)
    )
    assert words.splitlines() == old_words.splitlines(), RENEW
    new, old = (pd.read_csv(io.StringIO(one)) for one in (data, old_data))
    pd.testing.assert_frame_equal(new, old, rtol=2e-3, atol=1e-6, obj=RENEW)
