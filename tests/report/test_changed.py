"""What changed since the last study, as the page tells it."""

from types import SimpleNamespace

import pandas as pd
import pytest

from pumplife.report.changed import say_changes

INTERVAL = ("intervals", "slip, 50 mm, fluid, FK", "interval")
BUDGET = ("budget", "all sites, advised, money", "p80")


def row(
    answer: tuple[str, str, str], before: str, after: str, cause: str, share: float
) -> dict[str, object]:
    named = dict(zip(("table", "key", "column"), answer, strict=True))
    told = {"before": before, "after": after, "cause": cause}
    return {**named, **told, "share_of_change": share, "reached": after}


@pytest.fixture
def changed(study: SimpleNamespace) -> SimpleNamespace:
    study.tables["changes"] = pd.DataFrame(
        [
            row(INTERVAL, "1999.6", "2501.2", "records", 0.7),
            row(INTERVAL, "1999.6", "2501.2", "prices", 0.3),
            row(BUDGET, "197198.1303", "197404.3155", "prices", 1.0),
        ]
    )
    return study


def test_the_largest_changes_are_sentences_with_their_causes(changed: SimpleNamespace) -> None:
    told = say_changes(changed)
    assert told is not None
    assert told.count == "2 answers changed since the last study."
    (interval,) = told.largest  # the budget's change is below the digits that people read
    assert interval == "Slip, 50 mm, fluid, FK: 2,000 → 2,500 h, mostly by records."


def test_numbers_that_read_alike_get_the_digits_that_tell_them_apart(
    changed: SimpleNamespace,
) -> None:
    told = say_changes(changed)
    assert told is not None
    words = [cell.text for cell in told.rows.rows[-1]]
    assert "197,200 EUR" in words
    assert words.count("197,400 EUR") == 2  # after, and where the only cause has led


def test_without_a_comparison_nothing_is_said(study: SimpleNamespace) -> None:
    assert say_changes(study) is None


def test_a_change_below_the_digits_shown_is_listed_but_not_told(study: SimpleNamespace) -> None:
    rows = [("Slip, fluid", "1458.6", "1461.2"), ("Glaze, fluid", "968", "889")]
    changes = pd.DataFrame(rows, columns=["key", "before", "after"]).assign(
        table="intervals", column="interval", cause="records", share_of_change=1.0
    )
    study.tables["changes"] = changes.assign(reached=changes["after"])
    said = say_changes(study)
    assert said is not None
    assert said.largest == ("Glaze, fluid: 968 → 889 h, by records.",)
    assert said.count == "2 answers changed since the last study."
    study.tables["changes"] = study.tables["changes"].iloc[:1]
    said = say_changes(study)
    assert said is not None
    assert said.largest == ()
