"""How a table of the plant folder is described."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : str
        The heading.
    kind : str
        text, number, date, code or yes_no.
    meaning : str
        In plain words, with the unit in [brackets].
    required : bool
        The heading must be there and a row with a blank cell is set aside.
    codes : tuple of str
        The words allowed in a code column.
    instead : str
        A column that may stand in for this one.
    signed : bool
        Numbers below zero are allowed.
    lenient : bool
        A blank cell keeps its row although the column is required.
    unreadable : str
        What a cell that can't be read does: "" = it counts as not written, or sets its row aside
        where the column is required; "aside" = it sets its row aside although a blank wouldn't;
        "withhold" = the results that need it are withheld; else the code it is taken as.
    """

    name: str
    kind: str
    meaning: str = ""
    required: bool = False
    codes: tuple[str, ...] = ()
    instead: str = ""
    signed: bool = False
    lenient: bool = False
    unreadable: str = ""

    @property
    def sets_aside(self) -> bool:
        """Whether a cell that can't be read sets its row aside."""
        return self.unreadable == "aside" or (self.required and not self.lenient)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table of the plant folder.

    Attributes
    ----------
    name : str
        The name of its file or sheet.
    meaning : str
        What one row is.
    columns : tuple of Column
        In the order of the template.
    key : tuple of str
        The columns that tell one row from another; empty where only a whole row can.
    required : bool
        Without it there is no study.
    by_hand : bool
        Filled in at the bench, each row by another hand: a date that can be read in two ways
        counts as not written, where elsewhere it stops the study.
    """

    name: str
    meaning: str
    columns: tuple[Column, ...] = field(repr=False)
    key: tuple[str, ...] = ()
    required: bool = False
    by_hand: bool = False

    def column(self, name: str) -> Column:
        """Give the column of that name."""
        return next(column for column in self.columns if column.name == name)

    @property
    def headings(self) -> tuple[str, ...]:
        """The names of all columns."""
        return tuple(column.name for column in self.columns)


def text(name: str, meaning: str = "", *, required: bool = False, instead: str = "") -> Column:
    """Describe a column of words."""
    return Column(name=name, kind="text", meaning=meaning, required=required, instead=instead)


def number(
    name: str,
    meaning: str = "",
    *,
    required: bool = False,
    signed: bool = False,
    lenient: bool = False,
    unreadable: str = "",
) -> Column:
    """Describe a column of numbers."""
    return Column(
        name=name,
        kind="number",
        meaning=meaning,
        required=required,
        signed=signed,
        lenient=lenient,
        unreadable=unreadable,
    )


def date(name: str, meaning: str = "", *, required: bool = False, instead: str = "") -> Column:
    """Describe a column of dates."""
    return Column(name=name, kind="date", meaning=meaning, required=required, instead=instead)


def code(
    name: str,
    codes: str,
    meaning: str = "",
    *,
    required: bool = False,
    lenient: bool = False,
    unreadable: str = "",
) -> Column:
    """Describe a column of code words, given with blanks between."""
    return Column(
        name=name,
        kind="code",
        codes=tuple(codes.split()),
        meaning=meaning,
        required=required,
        lenient=lenient,
        unreadable=unreadable,
    )


def yes_no(name: str, meaning: str = "") -> Column:
    """Describe a column of yes and no."""
    return Column(name=name, kind="yes_no", codes=("yes", "no"), meaning=meaning)
