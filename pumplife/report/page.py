"""The report: one page that holds everything it needs and asks the network for nothing."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from pumplife.report.answer import advise_groups, list_stops, warn_of_tickets
from pumplife.report.budget_words import answer_budget, say_booked
from pumplife.report.drawn import Drawn
from pumplife.report.dues import split_due
from pumplife.report.evidence import fits_behind, order_by_stake
from pumplife.report.face import (
    ReadableStudy,
    find_table,
    is_invented,
    study_measures,
    study_name,
    study_units,
    study_window,
)
from pumplife.report.gather_advice import say_rewound
from pumplife.report.headline import headline, say_withheld
from pumplife.report.layout import count_comparisons, lay_out_fits, lay_out_tables
from pumplife.report.svg import embed_svg
from pumplife.report.tables import write_cell
from pumplife.report.titles import TABLES
from pumplife.report.words import Units, find_heading, write_heading
from pumplife.ticket.cautions import CAUTIONS, CAUTIONS_TITLE

SECTIONS = (
    "due", "few", "rewind", "materials", "trials", "trial_plans", "stock", "stores", "budget",
    "fits", "more_fits", "records", "stories",
)  # fmt: skip
GROUP_FACTS = (
    "cost_rate", "cost_rate_today", "cost_rate_run_to_failure",
    "saving_vs_run_to_failure", "saving_cash", "saving_labour_h", "saving_downtime_h",
    "loss_if_wrong", "failure_prob_at_interval", "release_prob", "ruptures_per_year",
    "binding_limit",
    "adopted_interval", "cost_of_keeping", "review", "round_interval", "cost_of_rounding",
    "common_interval", "cost_of_common", "calendar_weeks", "cost_of_calendar",
    "today_interval_median", "compliance",
    "actual_cost_per_breakdown", "assumed_cost_per_breakdown", "tickets_priced",
    "knowing_better_per_year", "worth_of_half_year", "learn_first", "flip_downtime_per_h",
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
    advice = advise_groups(study)
    return template.render(
        name=study_name(study),
        measures=study_measures(study),
        warning=warn_of_tickets(study),
        withheld=say_withheld(study),
        adopted=any(group.follows for group in advice),
        running=split_due(find_table(study, "due"))[1],
        units=study_units(study),
        invented=is_invented(study),
        window=study_window(study),
        seed=study.seed,
        cautions=CAUTIONS,
        cautions_title=CAUTIONS_TITLE,
        tiles=headline(study),
        asks=answer_budget(study),
        booked=say_booked(find_table(study, "booked")),
        stops=list_stops(study),
        advice=advice,
        groups=_groups(study, figures),
        pictures=_by_section(figures),
        tables=lay_out_tables(study),
        compared=count_comparisons(study),
        rewound=say_rewound(study),
        about=TABLES,
        files=study.records.hashes,
    )


def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("pumplife.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["whole_dates"] = _keep_dates_whole
    return made


def _keep_dates_whole(words: str) -> Markup:
    """Mark the dates in a text, so that lines don't break at their hyphens."""
    safe = str(escape(words))  # escaped before our own element goes in
    return Markup(re.sub(r"\d{4}-\d\d-\d\d", r'<span class="d">\g<0></span>', safe))


def _embed(drawn: Drawn, document: str) -> Markup:
    # our own drawing, whose texts are escaped by the SVG writer
    return Markup(embed_svg(document, drawn.name, drawn.alt))


def _by_section(figures: Sequence[tuple[Drawn, str]]) -> dict[str, list[dict[str, Any]]]:
    sections: dict[str, list[dict[str, Any]]] = {name: [] for name in SECTIONS}
    for drawn, document in figures:
        if drawn.section in sections:
            sections[drawn.section].append({"name": drawn.name, "svg": _embed(drawn, document)})
    return sections


def _groups(study: ReadableStudy, figures: Sequence[tuple[Drawn, str]]) -> list[dict[str, Any]]:
    """Give the evidence of each pump group, the one with most money at stake first."""
    intervals = find_table(study, "intervals")
    drawings = {
        (drawn.row, drawn.section): _embed(drawn, document)
        for drawn, document in figures
        if drawn.row >= 0
    }
    words = advise_groups(study)
    units = study_units(study)
    groups = []
    for place in order_by_stake(intervals):
        row = intervals.iloc[place]
        groups.append(
            {
                "words": words[place],
                "svg": drawings.get((place, "group")),
                "looks": [
                    drawings[place, section]
                    for section in ("ways", "inputs")
                    if (place, section) in drawings
                ],
                "facts": _facts(row.to_dict(), units),
                "fits": lay_out_fits(fits_behind(study, place), units, without=("service",)),
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
