"""The report: one page that holds everything it needs and asks the network for nothing."""

import re
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from pumplife.report.answer import advise_groups, list_stops, warn_of_tickets
from pumplife.report.budget_words import answer_budget, say_booked
from pumplife.report.changed import say_changes
from pumplife.report.drawn import Drawn
from pumplife.report.dues import say_put_off, split_due
from pumplife.report.evidence import fits_behind, order_by_stake, say_counts
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
from pumplife.report.links import link_tickets, name_rows
from pumplife.report.monday import FIRST, brief, split_running
from pumplife.report.style import read_caption
from pumplife.report.svg import embed_svg
from pumplife.report.tables import write_cell
from pumplife.report.titles import TABLES
from pumplife.report.what_if_page import lay_out_what_if
from pumplife.report.words import Units, find_heading, write_heading
from pumplife.report.worth_changing import list_worth_changing
from pumplife.report.worth_trying import list_worth_trying
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
    "knowing_better_per_year", "worth_of_half_year_told", "learn_first", "flip_downtime_per_h",
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
    running_groups, withheld_groups = split_running(advice)
    return template.render(
        name=study_name(study),
        measures=study_measures(study),
        warning=warn_of_tickets(study),
        withheld=say_withheld(study),
        adopted=any(group.follows for group in advice),
        running=split_due(find_table(study, "due"))[1],
        put_off=say_put_off(
            find_table(study, "due"), find_table(study, "load"), study.records.plant.records_to
        ),
        units=study_units(study),
        invented=is_invented(study),
        window=study_window(study),
        seed=study.seed,
        cautions=CAUTIONS,
        cautions_title=CAUTIONS_TITLE,
        tiles=headline(study),
        asks=answer_budget(study),
        booked=say_booked(find_table(study, "booked")),
        changes=say_changes(study),
        stops=list_stops(study),
        advice=advice,
        briefs=brief(study),
        running_groups=running_groups,
        withheld_groups=withheld_groups,
        first=FIRST,
        linked=any(link_tickets(study, find_table(study, "due"))),
        worth=list_worth_changing(find_table(study, "materials"), study_units(study)),
        trying=list_worth_trying(find_table(study, "trial_plans"), study_units(study)),
        groups=_groups(study, figures),
        pictures=_by_section(study, figures),
        written={name: len(study.tables[name]) for name in sorted(study.tables)},
        tables=lay_out_tables(study),
        compared=count_comparisons(study),
        rewound=say_rewound(study),
        about=TABLES,
        what_if=lay_out_what_if(study),
        files=study.records.hashes,
    )


@cache
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


RECORDS_ALONE = ("records", "stories")  # sections whose figures rest on no fitted life


def _picture(study: ReadableStudy, drawn: Drawn, document: str) -> dict[str, Any]:
    """Give a figure its place on the page, and the lives that it rests on where it says none."""
    said = read_caption(drawn.axes)
    evidence = ""
    if drawn.section not in RECORDS_ALONE and "suspensions" not in said:
        fits = find_table(study, "fits") if drawn.row < 0 else fits_behind(study, drawn.row)
        window = study_window(study)
        evidence = " ".join(filter(None, [say_counts(fits), "" if window in said else window]))
    # our own drawing, whose texts are escaped by the SVG writer
    svg = Markup(embed_svg(document, drawn.name, drawn.alt))
    return {"name": drawn.name, "svg": svg, "evidence": evidence}


def _by_section(
    study: ReadableStudy, figures: Sequence[tuple[Drawn, str]]
) -> dict[str, list[dict[str, Any]]]:
    sections: dict[str, list[dict[str, Any]]] = {name: [] for name in SECTIONS}
    for drawn, document in figures:
        if drawn.section in sections:
            sections[drawn.section].append(_picture(study, drawn, document))
    return sections


def _groups(study: ReadableStudy, figures: Sequence[tuple[Drawn, str]]) -> list[dict[str, Any]]:
    """Give the evidence of each pump group, the one with most money at stake first."""
    intervals = find_table(study, "intervals")
    drawings = {
        (drawn.row, drawn.section): _picture(study, drawn, document)
        for drawn, document in figures
        if drawn.row >= 0
    }
    words = advise_groups(study)
    units = study_units(study)
    groups = []
    for place in order_by_stake(intervals):
        row, behind = intervals.iloc[place], fits_behind(study, place)
        groups.append(
            {
                "words": words[place],
                "picture": drawings.get((place, "group")),
                "looks": [
                    drawings[place, section]
                    for section in ("ways", "inputs")
                    if (place, section) in drawings
                ],
                "facts": _facts(row.to_dict(), units),
                "fits": lay_out_fits(behind, units, without=("service",)),
                "rows_behind": [
                    {"table": "intervals", "words": name_rows([place])},
                    {"table": "fits", "words": name_rows(behind.index)},
                ],
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
