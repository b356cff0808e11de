"""What every column and table is called in front of people, and in which unit."""

from dataclasses import dataclass
from typing import Any

from pumplife.report.headings import HEADINGS, OF_TABLE, Heading
from pumplife.report.headings_budget import OF_BUDGET
from pumplife.report.headings_parts import OF_PARTS
from pumplife.report.headings_since import OF_SINCE
from pumplife.report.headings_stock import STOCK_HEADINGS, STOCK_OF_TABLE
from pumplife.report.headings_stores import OF_STORES
from pumplife.report.headings_ticket import OF_TICKETS
from pumplife.report.headings_trials import OF_TRIALS
from pumplife.report.headings_ways import OF_WAYS

USAGE_WORDS = {"hours": "h", "cycles": "cycles", "days": "calendar days"}
RATE_WORDS = {"hours": "1,000 h", "cycles": "million cycles", "days": "1,000 calendar days"}
NO_CURRENCY = "money units"


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """The units of one plant.

    Attributes
    ----------
    usage : str
        Short name of the usage unit, "h" for hours.
    currency : str
        The plant's currency, as plant.toml writes it.
    rate : str
        What a cost rate is per, "1,000 h" for hours.
    """

    usage: str
    currency: str
    rate: str


def name_units(usage_unit: str, currency: str) -> Units:
    """Find the units of a plant from its settings.

    Parameters
    ----------
    usage_unit : str
        hours, cycles or days.
    currency : str
        As written in plant.toml; where nothing is written, "money units".

    Returns
    -------
    Units
    """
    return Units(
        usage=USAGE_WORDS.get(usage_unit, usage_unit or "usage"),
        currency=NO_CURRENCY if currency.strip() in ("", "money") else currency.strip(),
        rate=RATE_WORDS.get(usage_unit, f"1,000 {usage_unit or 'usage'}"),
    )


UNIT_OF_KIND = {
    "usage": "{usage}",
    "money": "{currency}",
    "rate": "{currency} per {rate}",
    "days": "days",
    "weeks": "weeks",
    "hours": "h",
    "months": "months",
}


def find_heading(table: str, column: str) -> Heading:
    """Find the heading of a column; a column that nobody named is called by its own name.

    Parameters
    ----------
    table, column : str
        Names as in the output tables.

    Returns
    -------
    Heading
    """
    named = OF_SINCE | OF_TABLE | OF_BUDGET | STOCK_OF_TABLE | OF_PARTS | OF_STORES | OF_TICKETS
    named |= OF_TRIALS | OF_WAYS
    known = named.get((table, column)) or STOCK_HEADINGS.get(column) or HEADINGS.get(column)
    return known or Heading(column.replace("_", " ").capitalize())


def write_heading(table: str, column: str, units: Units) -> str:
    """Give the words above a column, with the unit in brackets.

    Parameters
    ----------
    table, column : str
        Names as in the output tables.
    units : Units
        Of the plant.

    Returns
    -------
    str
        "Interval [h]".
    """
    heading = find_heading(table, column)
    unit = UNIT_OF_KIND.get(heading.kind, "")
    values: dict[str, Any] = {"usage": units.usage, "currency": units.currency, "rate": units.rate}
    return f"{heading.words} [{unit.format(**values)}]" if unit else heading.words
