"""Which cause each table, column and setting of a plant belongs to: stated here alone.

Causes, in the order in which they are swapped:

version
    Another version of pumplife, Python or a library.
records
    What was written down: all tables, and lines of plant.toml on how they are read and which
    days they cover, but for what follows.
plan
    What is meant to come: `plan`, `adopted`, rows of `pumps`, `moves`, `parts` and `kits` dated
    after the records, retirements to come, [budget] and [calendar].
prices
    What things cost: the columns of `PRICE_COLUMNS`, [costs], [work] and what a transfer costs.
settings
    Every other line of plant.toml.
"""

from typing import Any

from pumplife.records.read import PLAN_DATES

VERSION, RECORDS, PLAN, PRICES, SETTINGS = "version", "records", "plan", "prices", "settings"
CAUSES = (VERSION, RECORDS, PLAN, PRICES, SETTINGS)
"""In the order in which they are swapped."""

TABLE_CAUSES: dict[str, str] = {
    **dict.fromkeys(
        ("pumps", "rebuilds", "findings", "returned", "issued", "readings", "parts", "kits",
         "kit_contents", "on_hand", "on_order", "moves", "compatibility", "events", "spend",
         "trials", "trial_pumps", "decisions"),
        RECORDS,
    ),
    "plan": PLAN,
    "adopted": PLAN,
}  # fmt: skip
"""Where the rows of a table belong, but for its columns of prices and rows to come."""

PRICE_COLUMNS: dict[str, tuple[str, ...]] = {
    "kits": ("unit_cost",),
    "parts": ("unit_cost",),
    "pumps": ("new_cost", "downtime_per_h"),
    "moves": ("downtime_per_h",),
}
ROWS_TO_COME = PLAN_DATES
"""The date after the records' last day from which a row of the table is a plan."""
RETIREMENT = ("pumps", "retired_on")
"""A date that is a plan where it lies after the records' last day."""

SECTION_CAUSES: dict[str, str] = {
    **dict.fromkeys(("costs", "work"), PRICES),
    **dict.fromkeys(("budget", "calendar"), PLAN),
    **dict.fromkeys(("dates", "numbers", "files", "columns", "codes", "text"), RECORDS),
    **dict.fromkeys(
        ("plant", "inspection", "targets", "evidence", "prior", "trials", "stock", "rules",
         "storage", "ticket", "stores", "rotables"),
        SETTINGS,
    ),
}  # fmt: skip
"""Where the lines of a section of plant.toml belong; of one that nobody knows, to settings."""

_LINE_CAUSES = {
    ("plant", "records_from"): RECORDS,
    ("plant", "records_to"): RECORDS,
    ("plant", "site"): RECORDS,
    ("stores", "transfer_cost"): PRICES,
}


def split_settings(raw: dict[str, Any]) -> dict[str, dict[tuple[str, str], Any]]:
    """The lines of plant.toml by cause, each by section and name."""
    parts: dict[str, dict[tuple[str, str], Any]] = {cause: {} for cause in CAUSES}
    for section, lines in raw.items():
        usual = SECTION_CAUSES.get(section, SETTINGS)
        for name, value in lines.items():
            parts[_LINE_CAUSES.get((section, name), usual)][section, name] = value
    return parts


def join_settings(parts: dict[str, dict[tuple[str, str], Any]]) -> dict[str, Any]:
    """The settings that `split_settings` has split."""
    raw: dict[str, Any] = {}
    for lines in parts.values():
        for (section, name), value in lines.items():
            raw.setdefault(section, {})[name] = value
    return raw
