"""The answer in one sentence with which each notebook opens."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pumplife.lives.questions import FROM_AUDIT
from pumplife.materials.notes import ADVISE_FROM
from pumplife.policy.evidence import KEEP_TODAYS
from pumplife.report.answer import count_rules, name_pump_group, write_action
from pumplife.report.budget_words import answer_budget
from pumplife.report.events import count_account
from pumplife.report.face import ReadableStudy, find_table, study_units
from pumplife.report.figures_readings import sum_readings
from pumplife.report.in_view import NOTHING, look_at, say_lacking
from pumplife.report.tables import write_many, write_number, write_share

ASKED_BY_RULE = frozenset(FROM_AUDIT.values())
"""Kinds of question that hang on one rule of the audit each."""


def answer_intervals(study: ReadableStudy) -> str:
    """Say what the advice saves, and where most of it comes from."""
    intervals, units = find_table(study, "intervals"), study_units(study)
    if intervals.empty or intervals["saving_per_year"].isna().all():
        return look_at(study).verdict
    keeps = intervals["policy"].eq(KEEP_TODAYS)
    planned, kept = int((intervals["interval"].notna() & ~keeps).sum()), int(keeps.sum())
    total = float(intervals["saving_per_year"].sum())
    sign = 1.0 if total >= 0.0 else -1.0
    most = intervals.loc[(sign * intervals["saving_per_year"]).idxmax()].to_dict()
    way = "saves {} a year against" if total >= 0.0 else "costs {} a year more than"
    money = way.format(f"{write_number(abs(total))} {units.currency}")
    action = write_action(most, units)
    return (
        f"{planned} of {write_many(len(intervals), 'pump group')} are better rebuilt at an "
        f"interval than run to failure{f', {kept} kept as today' if kept else ''}; working as "
        f"advised {money} today's practice, most of it in {name_pump_group(most).lower()}: "
        f"{action[:1].lower()}{action[1:]}."
    )


def answer_stock(study: ReadableStudy) -> str:
    """Say what to ask for, and how many orders to place."""
    words = answer_budget(study)
    if not words:
        return say_lacking(study, "budget") or NOTHING
    orders = find_table(study, "orders")
    pieces = int(orders["quantity"].sum()) if len(orders) else 0
    placed = write_many(len(orders), "order")
    return f"{words[0]} Now place {placed} of {write_many(pieces, 'piece')} in all."


def answer_materials(study: ReadableStudy) -> str:
    """Say how many comparisons of materials the records can tell, and what they tell."""
    materials = find_table(study, "materials")
    pairs = _compared(materials)
    if study.fits is None:
        return say_lacking(study, "materials") or NOTHING
    if pairs.empty:
        return "No part came in two materials that could be compared."
    told = pairs[pairs["comparable"].eq("yes")]
    apart = told[(told["ratio_low"] > 1.0) | (told["ratio_high"] < 1.0)]
    cheaper = told[told["prob_cheaper"] >= ADVISE_FROM]
    return (
        f"{len(told)} of {write_many(len(pairs), 'comparison')} of materials can be told from "
        f"these records: in {len(apart)} the 90 % bounds leave out that both live equally long, "
        f"and in {len(cheaper)} the material costs less than the most used one with a chance of "
        f"{write_share(ADVISE_FROM)} or more."
    )


def _compared(materials: pd.DataFrame) -> pd.DataFrame:
    """Rows of the table of materials that compare one with another: neither reference nor alone."""
    if materials.empty:
        return materials
    return materials[materials["reference"].ne("") & materials["comparable"].ne("")]


def find_pair(study: ReadableStudy) -> dict[str, object]:
    """Find the comparison of two materials that rests on most failures.

    Of those that the records can tell, where there are any, in the service that has most failures
    of them; else of all.

    Returns
    -------
    dict
        A row of the table of materials; empty where no part came in two materials.
    """
    materials = find_table(study, "materials")
    pairs = _compared(materials)
    told = pairs[pairs["comparable"].eq("yes") & pairs["service"].ne("")] if len(pairs) else pairs
    kept = told if len(told) else pairs
    if kept.empty:
        return {}
    service = kept.groupby("service")["failures"].sum().idxmax()
    mine = kept[kept["service"] == service].sort_values("failures")
    return {str(name): value for name, value in mine.iloc[-1].items()}


def answer_records(study: ReadableStudy) -> str:
    """Say what had to be set aside, what is open, and how far the answer hangs on it."""
    counted = count_account(find_table(study, "account"))
    tickets = counted[counted["kind"] == "ticket"]
    if tickets.empty:
        return say_lacking(study, "records") or NOTHING
    aside = tickets[tickets["status"] == "set aside"]
    share = write_share(float(aside["share"].sum()))
    words = f"{share} of {int(tickets['count'].sum()):,} ticket rows had to be "
    return f"{words}set aside; {_say_open(study)}{_say_readings(study)}."


def _say_open(study: ReadableStudy) -> str:
    questions = find_table(study, "questions")
    unit = study_units(study).currency
    asked = write_many(len(questions), "question")
    money = float(questions["money"].sum()) if len(questions) else 0.0
    verb = "is" if len(questions) == 1 else "are"
    stake = f", about {write_number(money)} {unit} of breakdowns hang on them" if money else ""
    return f"{asked} {verb} open{stake}"


def _say_readings(study: ReadableStudy) -> str:
    shares = sum_readings(find_table(study, "sensitivity"))["share"].dropna()
    if shares.empty:
        return ""
    low, high = float(shares.min()), float(shares.max())
    return (
        f"; read in {write_many(len(shares), 'other way')} the same records show "
        f"{100.0 * low:.0f} to {100.0 * high:.0f} % of the saving that the study finds"
    )


def rank_rules(study: ReadableStudy) -> pd.DataFrame:
    """Rank what is wrong with the records: what most money hangs on first, then the commonest.

    Returns
    -------
    DataFrame
        severity, table, rule, rows, money [money] that open questions put on these rows (NaN
        where none does), what, consequence, remedy.
    """
    audit, questions = find_table(study, "audit"), find_table(study, "questions")
    rules = count_rules(audit)
    if rules.empty:
        return rules.assign(money=np.nan)
    place = ["table", "row", "pump_id"]
    named = audit.assign(row=audit["row"].astype(str), pump_id=audit["pump_id"].fillna(""))
    asked = questions.assign(row=questions["row"].astype(str)).drop_duplicates(place)
    joined = named.merge(asked[[*place, "kind", "money"]], on=place)
    kind = joined["rule"].map(FROM_AUDIT)
    joined = joined[kind.eq(joined["kind"]) | (kind.isna() & ~joined["kind"].isin(ASKED_BY_RULE))]
    at_stake = joined.groupby(["severity", "table", "rule"])["money"].sum(min_count=1)
    ranked = rules.merge(at_stake.reset_index(), how="left", on=["severity", "table", "rule"])
    ranked = ranked.sort_values(["money", "rows"], ascending=False, ignore_index=True)
    return ranked[["severity", "table", "rule", "rows", "money", "what", "consequence", "remedy"]]


def find_worst_pump(study: ReadableStudy) -> str:
    """Name the pump on whose records most money hangs, else the one with most rows in the audit."""
    questions, audit = find_table(study, "questions"), find_table(study, "audit")
    if len(questions) and questions["money"].notna().any():
        return str(questions.groupby("pump_id")["money"].sum().idxmax())
    named = audit[audit["pump_id"].fillna("") != ""] if len(audit) else audit
    if len(named):
        return str(named["pump_id"].value_counts().idxmax())
    return str(study.records.pumps["pump_id"].iloc[0])
