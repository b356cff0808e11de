"""Cells by hand: numbers, dates and codes as people write them."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumplife.records.cells import read_codes, read_dates, read_numbers, tidy_text, translate


def _column(*words: str) -> pd.Series:
    return pd.Series(list(words), dtype=object)


@pytest.mark.parametrize(
    ("words", "numbers"),
    [
        (("12", "3.5", "-1", "1e3"), (12.0, 3.5, -1.0, 1000.0)),
        (("12,5", "3"), (12.5, 3.0)),
        (("1.234,5", "2.000"), (1234.5, 2000.0)),
        (("1,234.5", "2,000"), (1234.5, 2000.0)),
        (("1.234.567", "1.000"), (1234567.0, 1000.0)),
        (("1 234,5", "12\u202f000"), (1234.5, 12000.0)),
        (("1'234.5", "7"), (1234.5, 7.0)),
        (("45,00 €", "€ 7,50"), (45.0, 7.5)),
        (("0,125", "1,250"), (0.125, 1.25)),
        (("1\u2009234,5", "EUR 7,50"), (1234.5, 7.5)),
        (("3-", "1.200,50-"), (-3.0, -1200.5)),
    ],
)
def test_numbers_as_people_write_them(words, numbers):
    read = read_numbers(_column(*words))
    np.testing.assert_allclose(read.values, numbers)
    assert not read.bad.any()
    assert not read.guessed


def test_three_digits_after_one_mark_are_a_guess_that_says_so():
    read = read_numbers(_column("1,234", "5,678"), hint=",")
    np.testing.assert_allclose(read.values, [1.234, 5.678])
    assert read.guessed
    thousands = read_numbers(_column("1,234", "5,678"), hint=".")
    np.testing.assert_allclose(thousands.values, [1234.0, 5678.0])
    assert thousands.guessed


def test_a_declared_mark_ends_the_guess():
    read = read_numbers(_column("1.234", "5.678"), decimal=",")
    np.testing.assert_allclose(read.values, [1234.0, 5678.0])
    assert not read.guessed


def test_a_workbook_point_is_a_point():
    read = read_numbers(_column("1.234", "12,5"), exact=True)
    assert read.values[0] == 1.234
    assert bool(read.bad[1])


def test_words_are_not_numbers_and_blanks_are_not_bad():
    read = read_numbers(_column("about 5", "", "1,2,3", "nan", "inf"))
    assert list(read.bad) == [True, False, True, True, True]
    assert read.values.isna().all()


@given(st.lists(st.floats(-1e9, 1e9, allow_nan=False), min_size=1, max_size=20))
def test_plain_numbers_read_back(numbers):
    words = _column(*(repr(number) for number in numbers))
    np.testing.assert_array_equal(read_numbers(words).values, numbers)


@pytest.mark.parametrize(
    ("word", "day"),
    [
        ("2021-04-03", "2021-04-03"),
        ("2021-04-03T22:15:00Z", "2021-04-03"),
        ("2021-04-03 22:15", "2021-04-03"),
        ("20210403", "2021-04-03"),
        ("2021/4/3", "2021-04-03"),
        ("3-Apr-2021", "2021-04-03"),
        ("3 April 2021", "2021-04-03"),
        ("3-Apr-21", "2021-04-03"),
        ("3. März 2021", "2021-03-03"),
        ("1er juin 2021", "2021-06-01"),
        ("14 juil. 2021", "2021-07-14"),
        ("2 août 2021", "2021-08-02"),
        ("5 de enero de 2021", "2021-01-05"),
        ("7 dic 2021", "2021-12-07"),
        ("9 giugno 2021", "2021-06-09"),
        ("9 mei 2021", "2021-05-09"),
        ("31. Okt. 2021", "2021-10-31"),
        ("Apr 3, 2021", "2021-04-03"),
        ("Saturday, April 3rd, 2021", "2021-04-03"),
        ("25.04.2021", "2021-04-25"),
        ("4/25/2021", "2021-04-25"),
        ("25.04.21 07:30", "2021-04-25"),
        ("05.05.2021", "2021-05-05"),
    ],
)
def test_dates_that_can_be_read_in_one_way(word, day):
    read = read_dates(_column(word))
    assert read.values[0] == pd.Timestamp(day)
    assert not read.undecided


def test_the_whole_column_decides_the_order():
    day_first = read_dates(_column("03.04.2021", "13.04.2021"))
    assert day_first.order == "day-first"
    assert day_first.values[0] == pd.Timestamp("2021-04-03")
    month_first = read_dates(_column("03/04/2021", "04/13/2021"))
    assert month_first.order == "month-first"
    assert month_first.values[0] == pd.Timestamp("2021-03-04")


def test_an_undecided_column_says_so_and_takes_the_declared_order():
    assert read_dates(_column("03/04/2021")).undecided
    declared = read_dates(_column("03/04/2021"), order="month-first")
    assert not declared.undecided
    assert declared.values[0] == pd.Timestamp("2021-03-04")


def test_a_declared_order_never_overrules_the_column():
    read = read_dates(_column("03/04/2021", "13/04/2021"), order="month-first")
    assert read.values[0] == pd.Timestamp("2021-04-03")


def test_impossible_dates_are_bad():
    read = read_dates(_column("31.02.2021", "2021-13-01", "soon", "", "1021-01-01"))
    assert list(read.bad) == [True, True, True, False, True]


def test_serial_days_of_a_workbook_may_stand_beside_dates():
    read = read_dates(_column("44927", "2023-01-02"), serials=True)
    assert list(read.values) == [pd.Timestamp("2023-01-01"), pd.Timestamp("2023-01-02")]
    assert read.serial == ""


def test_a_text_column_of_nothing_but_serial_days_is_read():
    read = read_dates(_column("43546", "", "43547.0"))
    assert list(read.values.dropna()) == [pd.Timestamp("2019-03-22"), pd.Timestamp("2019-03-23")]
    assert not read.bad.any()
    assert read.serial == "43546 is 2019-03-22"


@pytest.mark.parametrize("other", ["2019-03-22", "19999", "80000", "43546.5", "soon"])
def test_one_cell_of_another_kind_makes_serial_days_unreadable_in_text(other):
    read = read_dates(_column("43546", other))
    assert bool(read.bad[0])
    assert read.serial == ""


@given(st.lists(st.dates(pd.Timestamp("1950-01-01").date(), pd.Timestamp("2099-12-31").date())))
def test_iso_dates_read_back(days):
    read = read_dates(_column(*(day.isoformat() for day in days)))
    assert list(read.values) == [pd.Timestamp(day) for day in days]


def test_codes_fold_case_and_separators():
    read = read_codes(
        _column("In Service", "in-store", "IN_STORE", "", "gone"), ("in_service", "in_store")
    )
    assert list(read.values) == ["in_service", "in_store", "in_store", "", ""]
    assert list(read.bad) == [False, False, False, False, True]


def test_plant_words_translate_whatever_their_case():
    words = translate(
        tidy_text(_column("  STÖRUNG ", "PM", "other")), {"Störung": "breakdown", "pm": "planned"}
    )
    assert list(words) == ["breakdown", "planned", "other"]


def test_hours_may_be_written_with_their_unit_in_a_column_of_hours_only():
    words = _column("4,5 h", "12 Std.")
    np.testing.assert_allclose(read_numbers(words, unit="h").values, [4.5, 12.0])
    assert read_numbers(words).bad.all()


def test_sizes_may_be_written_with_their_unit_or_as_nominal_in_a_column_of_millimetres_only():
    words = _column("DN 50", "dn80", "25 mm", "12,5mm", "40", "DN")
    np.testing.assert_allclose(
        read_numbers(words, unit="mm").values, [50, 80, 25, 12.5, 40, np.nan]
    )
    assert list(read_numbers(words, unit="h").bad) == [True, True, True, True, False, True]
    assert list(read_numbers(words, unit="any").bad) == [False] * 5 + [True]


@pytest.mark.parametrize("word", ["90 min", "5k", "3 ball 2021", "h", "12 h 30", "-5-"])
def test_other_units_and_words_are_no_numbers(word):
    assert read_numbers(_column(word)).bad[0]


@pytest.mark.parametrize("word", ["3 ball 2021", "ball 3, 2021", "32 Jan 2021", "Jan 2021"])
def test_words_that_are_no_months_are_no_dates(word):
    assert read_dates(_column(word)).bad[0]


def test_day_numbers_beside_blanks_and_words_raise_no_warning():
    column = pd.Series(["45000", "", "45001.5", "soon"])
    read = read_dates(column, serials=True)
    assert list(read.values.dt.strftime("%Y-%m-%d").fillna("")) == [
        "2023-03-15", "", "2023-03-16", "",
    ]  # fmt: skip
    assert list(read.bad) == [False, False, False, True]
