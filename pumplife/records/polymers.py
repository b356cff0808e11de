"""Materials by their codes: which are known, and how long parts of them may lie in a store."""

import math
import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Any, NamedTuple

import pandas as pd

from pumplife.errors import SettingError
from pumplife.records.audit import AuditLog
from pumplife.records.phrases import find_near


class StorageLife(NamedTuple):
    """How long a part may lie in a store before it is fitted, packed as the standard says.

    Attributes
    ----------
    years : float
        From the cure date [years]; inf without a practical limit, NaN where not known.
    extension_years : float
        What inspection and testing may add [years]; NaN where not known.
    because : str
        Where that is written.
    """

    years: float
    extension_years: float = math.nan
    because: str = ""


UNKNOWN = StorageLife(math.nan)


@cache
def polymers() -> pd.DataFrame:
    """Known codes in capitals, with name, storage class, years, edition, source and note.

    The years are those of ISO 2230:2002 as public summaries give them; each row names the source.
    """
    table = pd.read_csv(
        str(files("pumplife.records") / "polymers.csv"), dtype={"code": str}, keep_default_na=False
    )
    for name in ("initial_years", "extension_years"):
        table[name] = pd.to_numeric(table[name])
    return table.set_index(table["code"].str.upper())


@cache
def known_codes() -> frozenset[str]:
    """Codes of elastomers and other materials that are known, in capitals."""
    return frozenset(polymers().index)


def layers_of(material: str) -> list[str]:
    """The codes, in capitals, of a material or of each layer of one written as EPDM/PTFE."""
    return [layer.strip().upper() for layer in re.split(r"[/+]", material) if layer.strip()]


def storage_of(material: str, own: dict[str, float]) -> StorageLife:
    """Give the storage life of a material, the shortest of its layers that are known.

    Parameters
    ----------
    material : str
        "" where nobody wrote it: not known.
    own : dict
        The plant's own years by code in capitals; they come before the list [years].
    """
    lives = [_storage_of_layer(layer, own) for layer in layers_of(material)]
    known = [life for life in lives if not math.isnan(life.years)]
    return min(known, key=lambda life: life.years, default=UNKNOWN)


def _storage_of_layer(code: str, own: dict[str, float]) -> StorageLife:
    if code in own:
        return StorageLife(own[code], because=f"{code} in plant.toml")
    if code not in known_codes():
        return UNKNOWN
    row = polymers().loc[code]
    place = f"{row['edition']} class {row['storage_class']}" if row["edition"] else row["note"]
    return StorageLife(
        float(row["initial_years"]), float(row["extension_years"]), f"{code}, {place}"
    )


def own_storage_years(raw: dict[str, Any]) -> dict[str, float]:
    """Give the years of [storage] in plant.toml by code in capitals [years]."""
    years = raw.get("storage", {}).get("years", {})
    return {str(code).upper(): float(value) for code, value in years.items()}


def check_storage(raw: dict[str, Any], label: str, log: AuditLog) -> None:
    """Check [storage] of the settings.

    Raises
    ------
    SettingError
        When years are no number above 0.
    """
    for code, value in raw.get("storage", {}).get("years", {}).items():
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not value > 0:
            raise SettingError(
                f"plant.toml: [storage] years of {code} = {value!r} must be a number above 0."
            )
    for code in _unknown_codes(raw):
        near = find_near(code, known_codes(), likeness=0.5)
        log.add(
            "note",
            f"{label}: [storage] years names {code}, which is no code that pumplife knows.",
            rule="storage_code",
            consequence="It holds for parts whose material is written exactly so.",
            remedy=f"Did you mean {near}?" if near else "Write the code as in parts.material.",
        )


def _unknown_codes(raw: dict[str, Any]) -> Iterator[str]:
    yield from sorted(set(own_storage_years(raw)) - known_codes())
