"""Dates among the settings."""

from datetime import date, datetime
from typing import Any

import pandas as pd

from pumplife.errors import SettingError


def read_moment(given: dict[str, Any], name: str, section: str) -> pd.Timestamp:
    """Give the date of a setting, NaT where it isn't given.

    Raises
    ------
    SettingError
        When it is no date.
    """
    value = given.get(name, "")
    if value == "":
        return pd.NaT  # type: ignore[return-value]
    try:
        return _timestamp(value)
    except (ValueError, TypeError) as problem:
        raise SettingError(
            f"plant.toml: {name} = {value!r} of {section} isn't a date; write it like 2025-12-31."
        ) from problem


def _timestamp(value: Any) -> pd.Timestamp:
    if isinstance(value, datetime):
        value = value.date()
    text = value.isoformat() if isinstance(value, date) else str(value)
    return pd.Timestamp(datetime.strptime(text[:10], "%Y-%m-%d"))
