"""The settings under [ticket]: language of the rebuild tickets, and how far ahead they go."""

from typing import Any

from pumplife.errors import SettingError

TICKET = ("language", "weeks")
USUAL_WEEKS, MOST_WEEKS = 6.0, 520.0


def check_ticket(raw: dict[str, Any]) -> None:
    """Check the settings under [ticket].

    Raises
    ------
    SettingError
        When weeks is no number from 0 to 520.
    """
    weeks = raw.get("ticket", {}).get("weeks", USUAL_WEEKS)
    number = isinstance(weeks, int | float) and not isinstance(weeks, bool)
    if not number or not 0 <= weeks <= MOST_WEEKS:
        raise SettingError(f"plant.toml: [ticket] weeks = {weeks!r} must be a number up to 520.")


def ticket_language(raw: dict[str, Any]) -> str:
    """Language of the rebuild tickets."""
    return str(raw.get("ticket", {}).get("language", "en"))


def ticket_weeks(raw: dict[str, Any]) -> float:
    """How far ahead rebuild tickets are written [weeks]."""
    return float(raw.get("ticket", {}).get("weeks", USUAL_WEEKS))
