"""Published examples beside what pumplife gives: one row per printed number.

`published_*.json` holds the digits as printed, their source and whether they were seen on a page or
are from memory. Each module beside this one recomputes some of them with the package's own
functions; a new example is a function there and a line in its REPRODUCED.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from tests.reference import fits, policy, recurrent, regressions, stock

HERE = Path(__file__).parent
MODULES = {
    "fits": fits,
    "regressions": regressions,
    "recurrent": recurrent,
    "policy": policy,
    "stock": stock,
}
SEARCHED = {"P06": 1e-6}  # the least of a flat curve is found no closer
STOPPED = {"R07": 3e-5}  # beyond the file's suggestion: the source's iteration stopped there


@cache
def published(area: str) -> dict[str, Any]:
    """Return the published examples of one area by their identity."""
    found = json.loads((HERE / f"published_{area}.json").read_text(encoding="utf-8"))["checks"]
    return found if isinstance(found, dict) else {one["id"]: one for one in found}


def half_digit(printed: str) -> float:
    """Return half a unit of the last printed digit."""
    mantissa, _, exponent = printed.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 0.5000001 * 10.0 ** (int(exponent or 0) - decimals)


def tolerance(check: dict[str, Any], output: dict[str, Any]) -> float:
    """Return the difference allowed.

    Half a printed digit where the exact answer meets the printed digits; else the share that the
    file suggests, for a source that stopped short of its own maximum.
    """
    printed = float(output["printed"])
    least = max(half_digit(output["printed"]), SEARCHED.get(check["id"], 0.0) * abs(printed))
    if abs(float(output.get("recomputed", np.inf)) - printed) <= least:
        return least
    suggested = re.match(r"rel ([0-9.e+-]+)", check["suggested_tolerance"])
    share = STOPPED.get(check["id"], float(suggested.group(1)) if suggested else 0.0)
    return max(least, share * abs(printed))


def standing(check: dict[str, Any]) -> str:
    """Return whether the digits were seen, recalled or computed independently."""
    words = str(check["verified"])
    if "derived" in words:
        return "computed independently"
    return "from memory" if "memory" in words else "seen on a public page"


def compare(area: str, identity: str) -> pd.DataFrame:
    """Return one row per printed number of an example that the package recomputes."""
    check = published(area)[identity]
    found = MODULES[area].REPRODUCED[identity](check["inputs"])
    outputs = {one["name"]: one for one in check["outputs"]}
    rows = [
        {
            "quantity": name,
            "published": outputs[name]["printed"],
            "here": float(value),
            "difference": float(value) - float(outputs[name]["printed"]),
            "allowed": tolerance(check, outputs[name]),
        }
        for name, value in found.items()
        if name in outputs
    ]
    table = pd.DataFrame(rows)
    return table.assign(within=table["difference"].abs() <= table["allowed"])


def sources(area: str) -> pd.DataFrame:
    """Return one row per example of an area: what, where, and how well it is known."""
    return pd.DataFrame(
        [
            {
                "example": identity,
                "title": published(area)[identity]["title"],
                "source": published(area)[identity]["source"],
                "standing": standing(published(area)[identity]),
                "printed": len(published(area)[identity]["outputs"]),
            }
            for identity in MODULES[area].REPRODUCED
        ]
    )


def describe(area: str, identity: str) -> str:
    """Return a heading and a paragraph in Markdown: what, from where, how well known, what not."""
    check = published(area)[identity]
    found = set(compare(area, identity)["quantity"])
    names = [one["name"] for one in check["outputs"]]
    missing = [name for name in names if name not in found]
    counted = f"{len(found)} of {len(names)} numbers"
    beyond = f" Not computed by pumplife: {', '.join(missing)}." if missing else ""
    words = f"### {check['title']}\n\n{check['source'].rstrip('.')}. "
    return f"{words}**{standing(check).capitalize()}**; {counted}.{beyond}"


def pages(area: str) -> Iterator[tuple[str, pd.DataFrame]]:
    """Give the words and the comparison of every example of an area."""
    for identity in MODULES[area].REPRODUCED:
        yield describe(area, identity), compare(area, identity)


def compare_area(area: str) -> pd.DataFrame:
    """Return every recomputed number of an area, the example in front."""
    found = {identity: compare(area, identity) for identity in MODULES[area].REPRODUCED}
    return pd.concat(found, names=["example"]).reset_index("example").reset_index(drop=True)


def summarise() -> pd.DataFrame:
    """Return one row per example: numbers printed, compared, and within what is allowed."""
    parts = []
    for area in MODULES:
        counted = compare_area(area).groupby("example", sort=False)["within"].agg(["size", "sum"])
        counted = counted.rename(columns={"size": "compared", "sum": "within"}).reset_index()
        parts.append(sources(area).assign(area=area).merge(counted, on="example"))
    return pd.concat(parts, ignore_index=True)
