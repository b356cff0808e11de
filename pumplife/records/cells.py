"""Turn the text of a column into numbers, dates and codes, and say which cells could not be."""

import datetime
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
_MONTH = re.compile(r"^(\d{4}-\d{1,2})$")
_COMPACT = r"^(\d{4})(\d{2})(\d{2})$"
_THREE = re.compile(r"^(\d{1,2})[-/. ]+(\d{1,2})[-/. ]+(\d{4}|\d{2})(?:[T ,].*)?$")
_REST = r"(?:[T ,].*)?$"
_NTH = r"(\d{1,2})(?:st|nd|rd|th|er)?"
_NAMED = rf"^{_NTH}[-/. ]*(?:de )?([^\W\d_]{{3,}})[-/., ]*(?:de )?(\d{{4}}|\d{{2}}){_REST}"
_MONTH_FIRST = rf"^(?:[^\W\d_]+, )?([^\W\d_]{{3,}})[-/. ]*{_NTH}[-/., ]+(\d{{4}}){_REST}"
_CERTAIN = tuple(
    (re.compile(pattern), order)
    for pattern, order in (
        (_ISO, "ymd"),
        (_COMPACT, "ymd"),
        (_NAMED, "dmy"),
        (_MONTH_FIRST, "mdy"),
    )
)
_SERIAL = re.compile(r"^[1-9]\d{4}(?:\.\d+)?$")
_WHOLE_SERIAL = re.compile(r"^[2-7]\d{4}(?:\.0+)?$")
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
    cells = column.array
    if not isinstance(cells, pd.Categorical):
        place, words = pd.factorize(column)
        return [str(word) for word in words], place.astype(np.intp)
    code, words = cells.codes, cells.categories
    used = np.zeros(len(words), dtype=np.bool_)
    used[code] = True
    return list(words[used]), (np.cumsum(used) - 1)[code]


def _respelled(column: "pd.Series", respell: Callable[[str], str]) -> "pd.Series":
    """Write every cell anew, each spelling once; a categorical column stays one."""
    spellings, place = _spellings(column)
    told = [respell(word) for word in spellings]
    if not isinstance(column.dtype, pd.CategoricalDtype):
        return pd.Series(np.array(told, dtype=object)[place], index=column.index, dtype=object)
    if told == list(column.cat.categories):
        return column
    code, distinct = pd.factorize(pd.Index(told, dtype=object))
    codes: Any = code[place]
    return pd.Series(pd.Categorical.from_codes(codes, distinct), index=column.index)


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
    shapes = [_bare_number(word, unit) for word in spellings]
    seen = ("." if exact else "") or decimal or decimal_mark(shapes)
    mark = seen or hint or "."
    doubtful = any("." in word or "," in word for word in shapes)
    plain = [not word or _PLAIN_NUMBER.match(word) for word in spellings]
    if mark == "." and all(plain):
        read = [float(word or "nan") for word in spellings]
    else:
        read = [_number(word, mark) for word in shapes]
    numbers = np.array(read, dtype=float)
    unread = np.isnan(numbers) & _written(spellings)
    return TypedColumn(
        values=pd.Series(numbers[place], index=column.index),
        bad=pd.Series(unread[place], index=column.index),
        decimal=mark,
        guessed=doubtful and not seen,
    )


def _written(spellings: list[str]) -> NDArray[np.bool_]:
    """Say which spellings hold anything."""
    return np.array([word != "" for word in spellings], dtype=np.bool_)


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
    words = [_MONTH.sub(r"\1-01", word) for word in spellings] if months else spellings
    days = [_certain_date(word) for word in words]
    written = [at for at, word in enumerate(words) if word]
    numbered = bool(written) and not serials and all(map(_WHOLE_SERIAL.match, filter(None, words)))
    if serials or numbered:
        days = [
            _serial_date(word) if day is None else day
            for word, day in zip(words, days, strict=True)
        ]
    left = {at: _THREE.match(words[at]) for at in written if days[at] is None}
    used, undecided = "", False
    if left:
        three = {at: tuple(map(int, told.groups())) for at, told in left.items() if told}
        used, undecided = date_order(np.array(list(three.values()), dtype=np.int64), order)
        for at, numbers in three.items():
            days[at] = _ordered_date(numbers, used)
    days = [day if day and 1950 <= day.year <= 2099 else None for day in days]
    read = np.array(days, dtype="datetime64[D]").astype("datetime64[ns]")
    unread = np.isnat(read) & _written(spellings)
    first = next((at for at in written if days[at]), None) if numbered else None
    return TypedColumn(
        values=pd.Series(read[place], index=column.index),
        bad=pd.Series(unread[place], index=column.index),
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


def _certain_date(word: str) -> datetime.date | None:
    """Read a spelling that needs no order; each pattern sees what those before it left."""
    for pattern, order in _CERTAIN:
        told = pattern.match(word)
        if told is None:
            continue
        parts = dict(zip(order, told.groups(), strict=True))
        year = int(parts["y"])
        if order == "ymd":
            day = _compose(year, int(parts["m"]), int(parts["d"]))
        else:
            day = _compose(_whole_year(year), _month(parts["m"]), int(parts["d"]))
        if day is not None:
            return day
    return None


def _month(word: str) -> int:
    """Give the number of a month by its name in any of our languages; 0 for another word."""
    spread = unicodedata.normalize("NFKD", word.casefold())
    bare = "".join(letter for letter in spread if not unicodedata.combining(letter))
    return _MONTHS.get(bare[:4], _MONTHS.get(bare[:3], 0))


def _whole_year(year: int) -> int:
    return year if year >= 100 else year + (2000 if year < 70 else 1900)


def _serial_date(word: str) -> datetime.date | None:
    """Read a day number of a spreadsheet; its time of day is dropped."""
    if not _SERIAL.match(word):
        return None
    return datetime.date(1899, 12, 30) + datetime.timedelta(days=int(float(word)))


def _compose(year: int, month: int, day: int) -> datetime.date | None:
    """Join year, month and day; None where there is no such day."""
    try:
        return datetime.date(year, month, day)
    except ValueError:
        return None


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


def _ordered_date(three: tuple[int, ...], order: str) -> datetime.date | None:
    names = {"month-first": "mdy", "year-first": "ymd"}.get(order, "dmy")
    parts = dict(zip(names, three, strict=True))
    return _compose(_whole_year(parts["y"]), parts["m"], parts["d"])


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
    unread = (read == "") & _written(spellings)
    return TypedColumn(
        values=pd.Series(read[place], index=column.index, dtype=object),
        bad=pd.Series(unread[place], index=column.index),
    )
