"""Values as people read them."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumplife.report.headings import HEADINGS
from pumplife.report.headings_parts import OF_PARTS
from pumplife.report.layout import COLUMNS
from pumplife.report.tables import (
    THIN,
    lay_out,
    write_cell,
    write_code,
    write_date,
    write_many,
    write_number,
    write_share,
)
from pumplife.report.titles import TABLES
from pumplife.report.words import UNIT_OF_KIND, name_units, write_heading
from pumplife.stock.coverage import COVERAGE_COLUMNS
from pumplife.stock.kit_or_parts import KIT_OR_PARTS_COLUMNS
from pumplife.stock.on_condition import SHARE_COLUMNS

UNITS = name_units("hours", "EUR")


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (12345.6, "12,300"),
        (999.6, "1,000"),
        (9.996, "10.0"),
        (0.045678, "0.0457"),
        (-1234.0, "−1,230"),
        (0.0, "0"),
        (7.0, "7.00"),
        (math.nan, "–"),
        (math.inf, "no end"),
    ],
)
def test_numbers_keep_three_significant_digits(value: float, words: str) -> None:
    assert write_number(value) == words


@given(st.floats(min_value=1e-6, max_value=1e12))
def test_a_written_number_is_within_half_a_percent(value: float) -> None:
    read = float(write_number(value).replace(",", ""))
    assert abs(read - value) <= 0.0051 * value


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.0, "0 %"),
        (1.0, "100 %"),
        (0.0004, "< 0.1 %"),
        (0.9996, "> 99.9 %"),
        (0.0345, "3.5 %"),
        (0.97, "97 %"),
        (0.995, "99.5 %"),
    ],
)
def test_shares_never_round_doubt_away(value: float, words: str) -> None:
    assert write_share(value).replace(THIN, " ") == words


@given(st.floats(min_value=0, max_value=1, exclude_min=True, exclude_max=True))
def test_only_certainty_is_written_as_certainty(value: float) -> None:
    assert write_share(value).replace(THIN, " ") not in ("0 %", "0.0 %", "100 %", "100.0 %")


def test_chances_from_draws_claim_no_certainty() -> None:
    words = [write_cell(value, "chance").replace(THIN, " ") for value in (0.0, 0.3, 1.0)]
    assert words == ["< 1 %", "30 %", "> 99 %"]


def test_blank_cells_say_what_they_mean() -> None:
    for blank in (None, "", np.nan, pd.NaT, pd.NA):
        assert write_cell(blank, "usage", "run to failure") == "run to failure"
    assert write_cell(True, "text") == "yes"
    assert write_cell(np.bool_(False), "text") == "no"
    assert write_cell("order by 2025-08-01", "date") == "order by 2025-08-01"
    assert write_date(pd.Timestamp("2025-06-30")) == "2025-06-30"
    assert write_code("run_to_failure") == "run to failure"
    assert write_code("labour_h") == "labour [h]"
    assert write_code("on_shelf") == "on the shelf"


def test_counts_agree_with_their_noun() -> None:
    assert [write_many(count, "piece") for count in (0, 1, 2539)] == [
        "0 pieces", "1 piece", "2,539 pieces",
    ]  # fmt: skip


def test_headings_carry_units() -> None:
    assert write_heading("intervals", "interval", UNITS) == "Interval [h]"
    assert write_heading("intervals", "cost_rate", UNITS) == "Cost rate, advised [EUR per 1,000 h]"
    days = name_units("days", "EUR")
    assert write_heading("due", "age_now", days) == "Age now [calendar days]"
    assert write_heading("stock", "some_new_column", UNITS) == "Some new column"


def test_every_kind_of_heading_is_known() -> None:
    known = {"text", "code", "count", "number", "share", "chance", "date", "ratio", *UNIT_OF_KIND}
    assert {heading.kind for heading in HEADINGS.values()} <= known
    assert all(title and words.endswith(".") for title, words in TABLES.values())


def test_lay_out_cuts_hides_and_sorts() -> None:
    frame = pd.DataFrame(
        {
            "pump_id": ["P-2", "P-1", "P-3"],
            "do_on": pd.to_datetime(["2025-07-01", None, "2026-01-01"]),
            "age_now": [1234.5, np.nan, 20.0],
            "location": ["", "", ""],
        }
    )
    columns = ["pump_id", "do_on", "age_now", "location", "not_there"]
    table = lay_out(frame, "due", UNITS, columns=columns, most=2)
    assert table.headings == ("Pump", "Do on", "Age now [h]")
    assert [[cell.text for cell in row] for row in table.rows] == [
        ["P-2", "2025-07-01", "1,230"],
        ["P-1", "–", "–"],
    ]
    assert [cell.sort for cell in table.rows[0]] == ["P-2", "2025-07-01", "1234.5"]
    assert table.rows[1][2].sort == ""
    assert [cell.look for cell in table.rows[0]] == ["", "", "n"]
    assert table.left_off == 1
    assert lay_out(pd.DataFrame(), "due", UNITS).rows == ()


@pytest.mark.parametrize(
    ("table", "columns"),
    [
        ("coverage", COVERAGE_COLUMNS),
        ("on_condition", SHARE_COLUMNS),
        ("kit_or_parts", KIT_OR_PARTS_COLUMNS),
    ],
)
def test_columns_of_parts_have_their_words(table: str, columns: tuple[str, ...]) -> None:
    assert table in TABLES
    named = {name for name in columns if (table, name) in OF_PARTS or name in HEADINGS}
    assert named == set(columns) - {"store", "kit", "part", "side"}  # their own words
    assert {name for of, name in OF_PARTS if of == table} <= set(columns)
    assert set(COLUMNS[table]) <= set(columns)
