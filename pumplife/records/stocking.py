"""The plant's settings on stock: what is kept for critical pumps, how fast a rush order comes."""

import math
from typing import Any

from pumplife.errors import SettingError

STOCK = ("reserve", "rush_days", "break_kits")


def check_stocking(raw: dict[str, Any]) -> None:
    """Check the settings under [stock].

    Raises
    ------
    SettingError
        When a reserve is no whole number of pieces, rush_days no number of days, or break_kits
        neither true nor false.
    """
    reserve = raw.get("stock", {}).get("reserve", {})
    if not isinstance(reserve, dict):
        raise SettingError(
            "plant.toml: [stock] reserve must say how many pieces for which criticality, like "
            "reserve = { A = 1 }."
        )
    for word, pieces in reserve.items():
        if isinstance(pieces, bool) or not isinstance(pieces, int) or pieces < 0:
            raise SettingError(
                f"plant.toml: [stock] reserve of {word} = {pieces!r} must be a whole number of "
                "pieces, 0 or more."
            )
    days = raw.get("stock", {}).get("rush_days", 0.0)
    if isinstance(days, bool) or not isinstance(days, int | float) or not 0 <= days < math.inf:
        raise SettingError(
            f"plant.toml: [stock] rush_days = {days!r} must be a number of days, 0 or more."
        )
    breaks = raw.get("stock", {}).get("break_kits", False)
    if not isinstance(breaks, bool):
        raise SettingError(f"plant.toml: [stock] break_kits = {breaks!r} must be true or false.")


def reserve_of(raw: dict[str, Any]) -> dict[str, int]:
    """Pieces kept for breakdowns on pumps of each criticality [items]."""
    return {str(word): int(n) for word, n in raw.get("stock", {}).get("reserve", {}).items() if n}


def rush_days_of(raw: dict[str, Any]) -> float:
    """Days until a rush order is there [days], NaN where not given."""
    return float(raw.get("stock", {}).get("rush_days", math.nan))


def may_break_kits(raw: dict[str, Any]) -> bool:
    """Whether a kit may be broken for one part, its rest going back on the shelf as loose parts."""
    return bool(raw.get("stock", {}).get("break_kits", False))
