"""Whether the plant has confirmed a material for a service, and whether its code is known."""

from __future__ import annotations

import pandas as pd

from pumplife.records.polymers import known_codes, layers_of
from pumplife.records.read import Records

CONFIRMED, EXPIRED, NOT = "yes", "expired", "no"


def is_confirmed(records: Records, material: str, service: str, part: str) -> str:
    """Say whether the plant's compatibility table confirms a material at the end of the records.

    Parameters
    ----------
    records : Records
    material, service, part : str
        A row without a part confirms every part.

    Returns
    -------
    str
        yes, expired (a row whose valid_until has passed) or no.
    """
    rows = records.table("compatibility")
    if rows.empty:
        return NOT
    mine = (rows["material"] == material) & (rows["service"] == service)
    mine &= rows["part"].isin(["", part])
    mine &= rows["confirmed_by"].ne("") & ~(rows["confirmed_on"] > records.plant.records_to)
    if not mine.any():
        return NOT
    ended = rows.loc[mine, "valid_until"] < pd.Timestamp(records.plant.records_to)
    return EXPIRED if ended.all() else CONFIRMED


def is_known_code(material: str) -> bool:
    """Whether a material, or each layer of one written as EPDM/PTFE, is a known code."""
    return all(layer in known_codes() for layer in layers_of(material))


def say_unknown_codes(records: Records, materials: list[str], *, table: str = "parts") -> None:
    """Write an audit row for every material of a table whose code isn't known."""
    told = records.table(table)
    for material in materials:
        held = told[told.isin([material]).any(axis=1)]
        if material and not is_known_code(material):
            records.log.add(
                "caution",
                f"Material {material!r} is no code of ISO 1629 or ASTM D1418 that is known here.",
                rule="material_code",
                table=table,
                row=int(held["row"].iloc[0]) if len(held) else None,
                consequence="It is compared under the plant's own label; two spellings of one "
                "material count as two.",
                remedy="Write the code, or map the label in "
                f"[codes.{table}.material] of plant.toml.",
            )
