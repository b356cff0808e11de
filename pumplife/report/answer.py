"""The answer in words: what to do with each pump group, and what the records hold back."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pumplife.report.events import count_account
from pumplife.report.evidence import find_extrapolated
from pumplife.report.face import ReadableStudy, find_table, study_units
from pumplife.report.headline import find_reviews
from pumplife.report.pictures import capitalise
from pumplife.report.tables import (
    is_blank,
    sort_key,
    write_cell,
    write_count,
    write_money,
    write_number,
    write_share,
)
from pumplife.report.words import Units

MANY_ASIDE = 0.25  # share of the tickets set aside from which every number is in doubt
QUIET_RULES = ("account", "source")  # an account of what went well, not a finding


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupAdvice:
    """What to do with one pump group and side.

    Attributes
    ----------
    anchor : str
        Of its evidence on the page.
    group, kit, pumps : str
        Which pumps.
    action : str
        "Rebuild every 3,180 h (about 41 weeks)".
    follows : str
        What the plant follows; blank where no group of the plant has an adopted interval.
    marks : tuple of str
        What to know before doing it.
    breaks : bool
        Whether what the plant follows goes beyond a limit.
    band : str
        The near-best band.
    chance : str
        To beat run to failure.
    saving : str
        A year against today, with its band.
    limit : str
        What binds, or blank.
    verdict : str
        The study's own words.
    chance_key, saving_key : str
        What the columns are sorted by.
    """

    anchor: str
    group: str
    kit: str
    pumps: str
    action: str
    follows: str
    marks: tuple[str, ...]
    breaks: bool
    band: str
    chance: str
    saving: str
    limit: str
    verdict: str
    chance_key: str
    saving_key: str


def advise_groups(study: ReadableStudy) -> list[GroupAdvice]:
    """Put every row of intervals into words, in the order of the table.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    list of GroupAdvice
    """
    units = study_units(study)
    intervals = find_table(study, "intervals")
    beyond = find_extrapolated(study)
    some = bool((find_reviews(intervals) != "").any())
    return [
        _advise(place, row, units, beyond=beyond[place], some_adopted=some)
        for place, row in enumerate(intervals.to_dict("records"))
    ]


def _advise(
    place: int, row: Mapping[Any, Any], units: Units, *, beyond: bool, some_adopted: bool
) -> GroupAdvice:
    limit = row.get("binding_limit", "")
    review = row.get("review", "")
    breaks = not is_blank(review) and "limit" in str(review)
    marks = ("beyond the longest life seen",) if beyond else ()
    return GroupAdvice(
        anchor=f"group-{place + 1}",
        group=name_pump_group(row),
        kit=write_cell(row["kit"], "text"),
        pumps=write_count(float(row["pumps"])),
        action=write_action(row, units),
        follows=write_followed(row, units) if some_adopted else "",
        marks=marks,
        breaks=breaks,
        band=write_band(row, units),
        chance="–" if is_blank(row["interval"]) else write_cell(row["prob_better"], "chance"),
        saving=write_saving(row),
        limit="" if is_blank(limit) or limit == "cost" else str(limit),
        verdict=write_cell(row["verdict"], "text", ""),
        chance_key=sort_key(row["prob_better"]),
        saving_key=sort_key(row["saving_per_year"]),
    )


def name_pump_group(row: Mapping[Any, Any]) -> str:
    """Name a pump group: service, size, side, and hazard where there is one.

    Parameters
    ----------
    row : mapping
        A row of intervals.

    Returns
    -------
    str
        "Glaze slip, 50 mm, fluid side".
    """
    words = [str(row["service"])]
    if not is_blank(row["size_mm"]):
        words.append(f"{float(row['size_mm']):g} mm")
    words.append(f"{row['side']} side")
    if row["hazard"] == "hazardous":
        words.append("hazardous")
    return capitalise(", ".join(words))


def write_action(row: Mapping[Any, Any], units: Units) -> str:
    """Say what to do: an interval, run to failure, or nothing while the advice is withheld.

    Parameters
    ----------
    row : mapping
        A row of intervals.
    units : Units
        Of the plant.

    Returns
    -------
    str
    """
    if is_blank(row["policy"]):
        return "No advice: withheld"
    if is_blank(row["interval"]):
        return capitalise(str(row["policy"]))
    verb = "Keep" if row["policy"] == "keep today's" else "Rebuild every"
    every = f"{verb} {write_number(float(row['interval']))} {units.usage}"
    weeks = row["interval_weeks"]
    return every if is_blank(weeks) else f"{every} (about {write_number(float(weeks), 2)} weeks)"


def write_followed(row: Mapping[Any, Any], units: Units) -> str:
    """Say what the plant follows in one group, and whether to keep or review it.

    Parameters
    ----------
    row : mapping
        A row of intervals.
    units : Units
        Of the plant.

    Returns
    -------
    str
        "Every 3,000 h: keep"; "As advised" where the plant has adopted nothing.
    """
    review = row.get("review", "")
    if is_blank(review):
        return "–" if is_blank(row["policy"]) else "As advised"
    adopted = row["adopted_interval"]
    if is_blank(adopted):
        return f"Run to failure: {review}"
    return f"Every {write_number(float(adopted))} {units.usage}: {review}"


def write_band(row: Mapping[Any, Any], units: Units) -> str:
    """Say which intervals cost within 5 % of the best."""
    low, high = row["near_best_low"], row["near_best_high"]
    if is_blank(row["policy"]) or is_blank(low):
        return "–"
    start = write_number(float(low))
    if is_blank(high) or np.isinf(float(high)):
        return f"{start} {units.usage} and more, or run to failure"
    if float(high) <= float(low) * 1.001:
        return f"{start} {units.usage} only"
    return f"{start} to {write_number(float(high))} {units.usage}"


def write_saving(row: Mapping[Any, Any]) -> str:
    """Say what the advice saves a year against today, with its 90 % band."""
    saving = row["saving_per_year"]
    if is_blank(saving):
        return "–"
    words = write_money(float(saving))
    if is_blank(row["saving_low"]) or is_blank(row["saving_high"]):
        return words
    low, high = write_money(float(row["saving_low"])), write_money(float(row["saving_high"]))
    return f"{words} ({low} to {high})"


def list_stops(study: ReadableStudy) -> list[dict[str, str]]:
    """Give what had to be withheld, why, and what to do about it.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    list of dict
        what, consequence, remedy.
    """
    audit = find_table(study, "audit")
    if audit.empty:
        return []
    rows = audit.loc[audit["severity"] == "stop", ["what", "consequence", "remedy"]]
    rows = rows.drop_duplicates()
    return [
        {str(key): capitalise(str(value).strip().rstrip(".")) for key, value in row.items()}
        for row in rows.to_dict("records")
    ]


def warn_of_tickets(study: ReadableStudy) -> str:
    """Warn where more than a quarter of the ticket rows could not be used; else blank.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    """
    counts = count_account(find_table(study, "account"))
    tickets = counts[counts["kind"] == "ticket"]
    if tickets.empty or study.fits is None:
        return ""
    total = float(tickets["count"].sum())
    aside = float(tickets.loc[tickets["status"] == "set aside", "count"].sum())
    if aside <= MANY_ASIDE * total:
        return ""
    return (
        f"{aside:,.0f} of {total:,.0f} ticket rows ({write_share(aside / total)}) were set aside: "
        "read what the records left open before you use a number of this page."
    )


def show_findings(audit: pd.DataFrame) -> pd.DataFrame:
    """Leave out of the audit what is no finding: the account of tickets and of files."""
    return audit if audit.empty else audit[~audit["rule"].isin(QUIET_RULES)]


def count_rules(audit: pd.DataFrame) -> pd.DataFrame:
    """Count the rows of the audit per rule, with one example each.

    Parameters
    ----------
    audit : DataFrame
        The output table.

    Returns
    -------
    DataFrame
        severity, table, rule, rows, what, consequence, remedy; the gravest and commonest first.
    """
    columns = ["severity", "table", "rule", "rows", "what", "consequence", "remedy"]
    audit = show_findings(audit)
    if audit.empty:
        return pd.DataFrame(columns=columns)
    kept = audit[["severity", "table", "rule", "what", "consequence", "remedy"]].fillna("")
    counted = kept.groupby(["severity", "table", "rule"], as_index=False, sort=False).agg(
        rows=("what", "size"),
        what=("what", "first"),
        consequence=("consequence", "first"),
        remedy=("remedy", "first"),
    )
    order = counted["severity"].map({"stop": 0, "caution": 1, "note": 2}).fillna(3)
    counted = counted.assign(order=order).sort_values(
        ["order", "rows"], ascending=[True, False], kind="stable"
    )
    return counted[columns].reset_index(drop=True)
