"""The report: one page that holds everything it needs and asks the network for nothing."""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pumplife.report.answer import advise_groups, count_rules, headline, list_stops
from pumplife.report.cautions import CAUTIONS, CAUTIONS_TITLE
from pumplife.report.face import (
    ReadableStudy,
    find_table,
    is_invented,
    study_units,
    study_window,
)
from pumplife.report.gather import Drawn, fits_of_group, order_by_stake
from pumplife.report.svg import embed_svg
from pumplife.report.tables import PageTable, lay_out, write_cell
from pumplife.report.words import TABLES, Units, find_heading, write_heading

MOST_ROWS = 150  # of a table on the page; the whole of it is in tables/
MOST_AUDIT_ROWS = 60
SCENARIO_ORDER = ("actual", "today", "advised", "adopted", "run_to_failure")

COLUMNS: dict[str, tuple[str, ...]] = {
    "due": (
        "priority", "pump_id", "site", "location", "service", "side", "kit", "do_on", "due_on",
        "outage_on", "overdue_by", "age_now", "due_usage", "age_known", "failure_prob_13_weeks",
        "failure_prob_by_due", "kit_ready", "ticket_id",
    ),
    "orders": ("store", "item", "quantity", "order_by", "needed_by", "why"),
    "stock": (
        "store", "item", "kind", "reorder_point", "order_up_to", "today_on_hand", "surplus",
        "shortage_prob", "today_shortage_prob", "fill_rate", "demand_per_year",
        "planned_per_year", "lead_time_days", "capital", "capital_today", "cost_per_year",
        "pump_days_waiting", "months_cover", "expiry_risk", "limited_by", "verdict",
    ),
    "fits": (
        "service", "size_mm", "side", "part", "position", "material", "variant", "endpoint",
        "failures", "suspensions", "shape", "shape_low", "shape_high", "scale", "scale_low",
        "scale_high", "b10", "b10_low", "b10_high", "early_share", "verdict", "method",
    ),
    "budget": ("year", "site", "scenario", "p50", "p80", "p90", "mean"),
    "audit": ("severity", "table", "row", "pump_id", "rule", "what", "consequence", "remedy"),
    "rules": ("severity", "table", "rule", "rows", "what", "consequence", "remedy"),
}  # fmt: skip

GROUP_FACTS = (
    "cost_rate", "cost_rate_today", "cost_rate_run_to_failure",
    "saving_vs_run_to_failure", "saving_cash", "saving_labour_h", "saving_downtime_h",
    "loss_if_wrong", "failure_prob_at_interval", "ruptures_per_year", "binding_limit",
    "adopted_interval", "cost_of_keeping", "review", "common_interval", "cost_of_common",
    "actual_cost_per_breakdown", "tickets_priced",
)  # fmt: skip


def write_page(study: ReadableStudy, figures: Sequence[tuple[Drawn, str]]) -> str:
    """Write the report as one HTML document.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    figures : sequence of (Drawn, SVG document)
        In the order of the page.

    Returns
    -------
    str
    """
    template = _environment().get_template("page.html")
    plant = study.records.plant
    return template.render(
        plant=plant,
        units=study_units(study),
        invented=is_invented(study),
        window=study_window(study),
        seed=study.seed,
        cautions=CAUTIONS,
        cautions_title=CAUTIONS_TITLE,
        tiles=headline(study),
        stops=list_stops(study),
        advice=advise_groups(study),
        groups=_groups(study, figures),
        pictures=_by_section(figures),
        tables=_tables(study),
        about=TABLES,
        files=study.records.hashes,
    )


def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("pumplife.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _embed(drawn: Drawn, document: str) -> Markup:
    # our own drawing, whose texts are escaped by the SVG writer
    return Markup(embed_svg(document, drawn.name, drawn.alt))


def _by_section(figures: Sequence[tuple[Drawn, str]]) -> dict[str, list[dict[str, Any]]]:
    sections: dict[str, list[dict[str, Any]]] = {
        name: [] for name in ("due", "stock", "budget", "fits", "records")
    }
    for drawn, document in figures:
        if drawn.section in sections:
            sections[drawn.section].append({"name": drawn.name, "svg": _embed(drawn, document)})
    return sections


def _groups(study: ReadableStudy, figures: Sequence[tuple[Drawn, str]]) -> list[dict[str, Any]]:
    """Give the evidence of each pump group, the one with most money at stake first."""
    intervals, fits = find_table(study, "intervals"), find_table(study, "fits")
    drawings = {drawn.row: (drawn, document) for drawn, document in figures if drawn.row >= 0}
    words = advise_groups(study)
    units = study_units(study)
    groups = []
    for place in order_by_stake(intervals):
        row = intervals.iloc[place]
        drawing = drawings.get(place)
        groups.append(
            {
                "words": words[place],
                "svg": _embed(*drawing) if drawing else None,
                "facts": _facts(row.to_dict(), units),
                "fits": _fit_table(fits_of_group(fits, row), units),
            }
        )
    return groups


def _facts(row: Mapping[Any, Any], units: Units) -> list[tuple[str, str]]:
    facts = []
    for name in GROUP_FACTS:
        heading = find_heading("intervals", name)
        text = write_cell(row.get(name, ""), heading.kind, "")
        if text:
            facts.append((write_heading("intervals", name, units), text))
    return facts


def _fit_table(fits: pd.DataFrame, units: Units) -> PageTable | None:
    if fits.empty:
        return None
    columns = [name for name in COLUMNS["fits"] if name not in ("service", "side", "method")]
    return lay_out(fits, "fits", units, columns=columns, most=30)


def _tables(study: ReadableStudy) -> dict[str, PageTable]:
    units = study_units(study)
    audit = find_table(study, "audit")
    money, pieces = _split_budget(find_table(study, "budget"))
    due = find_table(study, "due")
    due = due.sort_values("priority", kind="stable") if not due.empty else due
    frames = {
        "due": (due, "due", MOST_ROWS),
        "orders": (find_table(study, "orders"), "orders", MOST_ROWS),
        "stock": (find_table(study, "stock"), "stock", MOST_ROWS),
        "fits": (find_table(study, "fits"), "fits", MOST_ROWS),
        "audit": (audit, "audit", MOST_AUDIT_ROWS),
    }
    laid = {
        name: lay_out(frame, table, units, columns=COLUMNS[name], most=most)
        for name, (frame, table, most) in frames.items()
    }
    laid["rules"] = lay_out(count_rules(audit), "audit", units, columns=COLUMNS["rules"])
    laid["budget"] = lay_out(money, "money", units, columns=COLUMNS["budget"], file="budget")
    laid["budget_pieces"] = lay_out(
        pieces, "budget", units, columns=("quantity", *COLUMNS["budget"]), most=MOST_ROWS
    )
    return laid


def _split_budget(budget: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give the rows of money and the others, all sites first, with words for the years."""
    if budget.empty:
        return budget, budget
    ordered = budget.assign(
        first=budget["site"] != "all",
        scene=budget["scenario"].map({name: place for place, name in enumerate(SCENARIO_ORDER)}),
    ).sort_values(["first", "site", "year", "scene"], kind="stable")
    past = ordered["year"].astype(str) == "0"
    words = ordered.assign(
        year=ordered["year"].astype(str).mask(past, "last 12 months"),
        site=ordered["site"].mask(~ordered["first"], "all sites"),
    )
    is_money = ordered["quantity"] == "money"
    return words[is_money], words[~is_money]
