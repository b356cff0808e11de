"""Turn the text of a column into numbers, dates and codes, and say which cells could not be."""

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.records.phrases import squeeze

ORDERS = ("day-first", "month-first", "year-first")

_MONTHS = {
    word: number
    for number, words in enumerate(
        (
            "jan gen ene",
            "feb fev",
            "mar mrz mrt maa maerz",
            "apr avr abr",
            "may mai mei mag",
            "jun juin giu",
            "jul juil lug",
            "aug aou ago",
            "sep set",
            "oct okt ott",
            "nov",
            "dec dez dic",
        ),
        start=1,
    )
    for word in words.split()
}
"""Beginnings of the names of months in English, German, French, Spanish, Italian and Dutch."""
_ISO = r"^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ].*)?$"
_MONTH = r"^(\d{4}-\d{1,2})$"
_COMPACT = r"^(\d{4})(\d{2})(\d{2})$"
_THREE = r"^(\d{1,2})[-/. ]+(\d{1,2})[-/. ]+(\d{4}|\d{2})(?:[T ,].*)?$"
_REST = r"(?:[T ,].*)?$"
_NTH = r"(\d{1,2})(?:st|nd|rd|th|er)?"
_NAMED = rf"^{_NTH}[-/. ]*(?:de )?([^\W\d_]{{3,}})[-/., ]*(?:de )?(\d{{4}}|\d{{2}}){_REST}"
_MONTH_FIRST = rf"^(?:[^\W\d_]+, )?([^\W\d_]{{3,}})[-/. ]*{_NTH}[-/., ]+(\d{{4}}){_REST}"
_CERTAIN = ((_ISO, "ymd"), (_COMPACT, "ymd"), (_NAMED, "dmy"), (_MONTH_FIRST, "mdy"))
_SERIAL = r"^[1-9]\d{4}(?:\.\d+)?$"
_WHOLE_SERIAL = r"^[2-7]\d{4}(?:\.0+)?$"
_MONEY = r"(?<=\d)(?:stk\.?|pcs?|eur|usd|gbp|chf)$|^(?:eur|usd|gbp|chf)(?=\d)"
_HOURS = r"(?<=\d)(?:h|hrs?|hours?|std\.?)$"
_SIZES = r"(?<=\d)mm$|^dn(?=\d)"  # DN 50 is the nominal size 50 (ISO 6708)
_UNITS = {
    unit: re.compile("|".join([*written, _MONEY]), re.IGNORECASE)
    for unit, written in {"": (), "h": (_HOURS,), "mm": (_SIZES,), "any": (_HOURS, _SIZES)}.items()
}
_PLAIN_NUMBER = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TypedColumn:
    """A column after reading.

    Attributes
    ----------
    values : Series
        Numbers (NaN), dates (NaT) or codes ("") in place of text.
    bad : Series of bool
        Cells that hold something which can't be read.
    order : str
        For dates, the order that was used; "" where none was needed.
    undecided : bool
        For dates, that the column itself can't tell day from month.
    decimal : str
        For numbers, "." or ",": what stands before the decimals.
    guessed : bool
        For numbers, that the column itself can't tell decimals from thousands.
    serial : str
        For dates, how the first of a column of day numbers was read; "" = they are none.
    """

    values: "pd.Series"
    bad: "pd.Series[bool]"
    order: str = ""
    undecided: bool = False
    decimal: str = "."
    guessed: bool = False
    serial: str = ""

    def __repr__(self) -> str:
        return f"TypedColumn({len(self.values)} cells, {int(self.bad.sum())} unreadable)"


def tidy_text(column: "pd.Series") -> "pd.Series":
    """Trim cells and fold runs of white space to one blank, line breaks included."""
    return _respelled(column, lambda word: " ".join(word.split()))


def _spellings(column: "pd.Series") -> "tuple[list[str], NDArray[np.intp]]":
    """Give the distinct cells and which one each row holds."""
    if not isinstance(column.dtype, pd.CategoricalDtype):
        place, words = pd.factorize(column)
        return [str(word) for word in words], place.astype(np.intp)
    code, words = column.cat.codes.to_numpy(), column.cat.categories
    used = np.zeros(len(words), dtype=np.bool_)
    used[code] = True
    return list(words[used]), (np.cumsum(used) - 1)[code]


def _respelled(column: "pd.Series", respell: Callable[[str], str]) -> "pd.Series":
    """Write every cell anew, each spelling once; a categorical column stays one."""
    spellings, place = _spellings(column)
    words = np.array([respell(word) for word in spellings], dtype=object)
    if not isinstance(column.dtype, pd.CategoricalDtype):
        return pd.Series(words[place], index=column.index, dtype=object)
    code, distinct = pd.factorize(pd.Index(words, dtype=object))
    told: Any = code[place]
    return pd.Series(pd.Categorical.from_codes(told, distinct), index=column.index)


def read_numbers(
    column: "pd.Series",
    *,
    decimal: str = "",
    hint: str = "",
    exact: bool = False,
    unit: str = "",
) -> TypedColumn:
    """Read numbers with a decimal point or comma and with or without thousands marks.

    Parameters
    ----------
    column : Series of str
        Tidied cells.
    decimal : str
        "." or "," where the plant has said so.
    hint : str
        What to take where the column itself can't tell; "" = ".".
    exact : bool
        The cells come from a workbook, where a point is a point.
    unit : str
        "h" or "mm" where the column is in it, so that "4.5 h" says no more than 4.5 and "DN 50" no
        more than 50; "any" for either. Elsewhere a cell may be in another unit than the column.

    Returns
    -------
    TypedColumn
        Floats.
    """
    spellings, place = _spellings(column)
    words = pd.Series(spellings, dtype=object)
    direct = words.where(words.str.match(_PLAIN_NUMBER), "nan").astype("float64")
    shapes = [_bare_number(word, unit) for word in spellings]
    seen = ("." if exact else "") or decimal or decimal_mark(shapes)
    mark = seen or hint or "."
    doubtful = any("." in word or "," in word for word in shapes)
    if mark == "." and bool((direct.notna() | words.eq("")).all()):
        numbers = direct.to_numpy()
    else:
        numbers = np.array([_number(word, mark) for word in shapes], dtype=float)
    values = pd.Series(numbers[place], index=column.index)
    return TypedColumn(
        values=values,
        bad=values.isna() & column.ne(""),
        decimal=mark,
        guessed=doubtful and not seen,
    )


def _bare_number(word: str, unit: str) -> str:
    """Leave out blanks, apostrophes, currencies and units; a minus may stand at the end."""
    bare = _UNITS[unit].sub("", re.sub(r"[\s'’´€$£]", "", word))
    return f"-{bare[:-1]}" if re.fullmatch(r"[\d.,]+-", bare) else bare


def decimal_mark(words: list[str]) -> str:
    """Say what the cells show beyond doubt: "." or "," before decimals, or "" for neither.

    A cell with both marks shows it by the last one; a cell with one mark that isn't followed by
    exactly three digits shows it too; repeated marks are thousands.
    """
    votes = {_vote(word) for word in words if "," in word or "." in word}
    votes.discard("")
    return votes.pop() if len(votes) == 1 else ""


def _vote(word: str) -> str:
    points, commas = word.count("."), word.count(",")
    if points and commas:
        return "." if word.rfind(".") > word.rfind(",") else ","
    mark, other, count = (".", ",", points) if points else (",", ".", commas)
    if count > 1:
        return other
    whole, _, rest = word.lstrip("+-").partition(mark)
    grouped = re.fullmatch(r"\d{3}", rest) and re.fullmatch(r"[1-9]\d{0,2}", whole)
    return "" if grouped else mark


def _number(word: str, mark: str) -> float:
    other = "," if mark == "." else "."
    whole, _, rest = word.partition(mark)
    grouped = re.fullmatch(rf"[+-]?\d{{1,3}}(\{other}\d{{3}})+", whole)
    if other in rest or (other in whole and not grouped):
        return np.nan
    plain = whole.replace(other, "") + ("." + rest if mark in word else "")
    return float(plain) if _PLAIN_NUMBER.match(plain) else np.nan


def read_dates(
    column: "pd.Series", *, order: str = "", serials: bool = False, months: bool = False
) -> TypedColumn:
    """Read dates: ISO always, other orders as the whole column or the plant says.

    Parameters
    ----------
    column : Series of str
        Tidied cells; a time of day is dropped.
    order : str
        day-first, month-first or year-first, used only where the column can't decide.
    serials : bool
        Take five-digit numbers as the day numbers of a workbook, even beside dates. Without it
        they count only where every cell is a whole number from 20000 up to 80000.
    months : bool
        Take 2025-03 as the first day of that month.

    Returns
    -------
    TypedColumn
        Dates without time, between 1950 and 2099.
    """
    spellings, place = _spellings(column)
    words = pd.Series(spellings, dtype=object)
    if months:
        words = words.str.replace(_MONTH, r"\1-01", regex=True)
    days = _certain_dates(words)
    written = words[words.ne("")]
    numbered = not serials and len(written) > 0 and bool(written.str.match(_WHOLE_SERIAL).all())
    if serials or numbered:
        days = days.fillna(_serial_dates(words))
    left = words[days.isna() & words.ne("")]
    used, undecided = "", False
    if len(left):
        three = left.str.extract(_THREE).dropna().astype(int)
        used, undecided = date_order(three.to_numpy(), order)
        days = days.fillna(_ordered_dates(three, used))
    days = days.where(days.dt.year.between(1950, 2099))
    values: pd.Series = pd.Series(days.to_numpy()[place], index=column.index)
    first = days[written.index].first_valid_index() if numbered else None
    return TypedColumn(
        values=values,
        bad=values.isna() & column.ne(""),
        order=used,
        undecided=undecided,
        serial="" if first is None else f"{words[first]} is {days[first]:%Y-%m-%d}",
    )


def leave_undecided(column: "pd.Series", typed: TypedColumn, *, serials: bool) -> TypedColumn:
    """Leave out, as unreadable, the dates that day first and month first read differently."""
    other = read_dates(column, order="month-first", serials=serials)
    doubtful = typed.values.ne(other.values) & column.ne("")
    return replace(
        typed,
        values=typed.values.mask(doubtful),
        bad=typed.bad | doubtful,
        undecided=False,
    )


def _certain_dates(words: "pd.Series") -> "pd.Series":
    """Read the spellings that need no order; each pattern sees what those before it left."""
    found = pd.Series(pd.NaT, index=words.index, dtype="datetime64[ns]")
    for pattern, names in _CERTAIN:
        left = words[found.isna() & words.ne("")]
        if left.empty:
            break
        parts = left.str.extract(pattern).set_axis(list(names), axis=1).dropna()
        if parts.empty:
            continue
        if names != "ymd":
            parts["m"] = parts["m"].map(_month)
            parts["y"] = _whole_year(parts["y"].astype(int))
        found = found.fillna(_compose(parts))
    return found


def _month(word: str) -> float:
    """Give the number of a month by its name in any of our languages; NaN for another word."""
    spread = unicodedata.normalize("NFKD", word.casefold())
    bare = "".join(letter for letter in spread if not unicodedata.combining(letter))
    return _MONTHS.get(bare[:4], _MONTHS.get(bare[:3], np.nan))


def _whole_year(year: "pd.Series") -> "pd.Series":
    return year.where(year >= 100, year + np.where(year < 70, 2000, 1900))


def _serial_dates(words: "pd.Series") -> "pd.Series":
    serial = pd.to_numeric(words.where(words.str.match(_SERIAL), ""), errors="coerce")
    whole = np.floor(serial).fillna(0.0).astype(np.int64)  # a cast of NaN would warn
    days: pd.Series = pd.Timestamp("1899-12-30") + pd.to_timedelta(whole, unit="D")
    return days.where(serial.notna())


def _compose(parts: pd.DataFrame) -> "pd.Series":
    """Join year, month and day [columns y, m, d]; impossible dates become NaT."""
    numbers = parts.dropna().astype(int)
    written = (
        numbers["y"].astype(str)
        + "-"
        + numbers["m"].astype(str).str.zfill(2)
        + "-"
        + numbers["d"].astype(str).str.zfill(2)
    )
    days: pd.Series = pd.to_datetime(written, format="%Y-%m-%d", errors="coerce").astype(
        "datetime64[ns]"
    )
    whole: pd.Series = days.reindex(parts.index)
    return whole


def date_order(three: "NDArray[np.int64]", declared: str) -> tuple[str, bool]:
    """Decide the order of dates from all cells of a column.

    Parameters
    ----------
    three : int array, (n, 3)
        The three numbers of each cell as written, the last with 2 or 4 digits.
    declared : str
        What the plant says, for columns that can't decide.

    Returns
    -------
    tuple of str and bool
        The order, and whether it stays undecided (then day-first stands in).
    """
    if not len(three):
        return "", False
    first, second, third = three.T
    day_first, month_first = bool((first > 12).any()), bool((second > 12).any())
    if bool((first > 31).any()):
        return "year-first", False
    if declared == "year-first" and bool((third <= 31).all()):
        return declared, False
    if day_first != month_first:
        return ("day-first" if day_first else "month-first"), False
    if declared in ORDERS[:2]:
        return declared, False
    return "day-first", bool((first != second).any())


def _ordered_dates(three: pd.DataFrame, order: str) -> "pd.Series":
    names = {"month-first": ["m", "d", "y"], "year-first": ["y", "m", "d"]}
    parts = three.set_axis(names.get(order, ["d", "m", "y"]), axis=1)
    return _compose(parts.assign(y=_whole_year(parts["y"])))


def translate(column: "pd.Series", words: dict[str, str]) -> "pd.Series":
    """Replace the plant's words by ours; case and surrounding blanks don't matter."""
    known = {_fold(word): ours for word, ours in words.items()}
    return _respelled(column, lambda word: known.get(_fold(word), word))


def _fold(word: str) -> str:
    return " ".join(word.split()).casefold()


def read_codes(column: "pd.Series", codes: tuple[str, ...]) -> TypedColumn:
    """Read code words; case, blanks, hyphens and underscores don't matter.

    Parameters
    ----------
    column : Series of str
        Tidied cells, already translated.
    codes : tuple of str
        The words allowed.
    """
    known = {squeeze(code): code for code in codes}
    if codes == ("yes", "no"):
        known |= {"y": "yes", "true": "yes", "1": "yes", "n": "no", "false": "no", "0": "no"}
    spellings, place = _spellings(column)
    read = np.array([known.get(squeeze(word), "") for word in spellings], dtype=object)
    values = pd.Series(read[place], index=column.index, dtype=object)
    return TypedColumn(values=values, bad=values.eq("") & column.ne(""))
