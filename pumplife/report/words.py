"""What every column and table is called in front of people, and in which unit."""

from dataclasses import dataclass
from typing import Any

USAGE_WORDS = {"hours": "h", "cycles": "cycles", "days": "calendar days"}
RATE_WORDS = {"hours": "1,000 h", "cycles": "million cycles", "days": "1,000 calendar days"}
NO_CURRENCY = "money units"


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """The units of one plant.

    Attributes
    ----------
    usage : str
        Short name of the usage unit, "h" for hours.
    currency : str
        The plant's currency, as plant.toml writes it.
    rate : str
        What a cost rate is per, "1,000 h" for hours.
    """

    usage: str
    currency: str
    rate: str


@dataclass(frozen=True, slots=True)
class Heading:
    """Words above a column, and the kind of its values, which decides unit and digits.

    Attributes
    ----------
    words : str
        Heading without its unit.
    kind : str
        text, code, count, number, usage, money, rate, share, chance, date, days, weeks, hours,
        months or ratio.
    blank : str
        What an empty cell means to the reader.
    """

    words: str
    kind: str = "text"
    blank: str = "–"


def name_units(usage_unit: str, currency: str) -> Units:
    """Find the units of a plant from its settings.

    Parameters
    ----------
    usage_unit : str
        hours, cycles or days.
    currency : str
        As written in plant.toml; where nothing is written, "money units".

    Returns
    -------
    Units
    """
    return Units(
        usage=USAGE_WORDS.get(usage_unit, usage_unit or "usage"),
        currency=NO_CURRENCY if currency.strip() in ("", "money") else currency.strip(),
        rate=RATE_WORDS.get(usage_unit, f"1,000 {usage_unit or 'usage'}"),
    )


RUN = "run to failure"

HEADINGS: dict[str, Heading] = {
    "pump_id": Heading("Pump"),
    "part_no": Heading("Part number"),
    "size_mm": Heading("Size [mm]", "number", "all sizes"),
    "rule": Heading("Rule", "code"),
    "scenario": Heading("Scenario", "code"),
    "outcome": Heading("Outcome", "code"),
    "usage_grade": Heading("Usage", "code"),
    "measured_share": Heading("Of its usage, measured", "share"),
    "bridged_share": Heading("Of its usage, bridged at the pump's own rate", "share"),
    "assumed_share": Heading("Of its usage, assumed", "share"),
    # sensitivity
    "change": Heading("What was changed"),
    "main_part": Heading("Part that fails most"),
    "scale_ratio": Heading("Its scale, times", "ratio"),
    "shape_ratio": Heading("Its shape, times", "ratio"),
    "interval_as_is": Heading("Interval as the study has it", "usage", RUN),
    "weeks_as_is": Heading("The same at the median pump", "weeks", RUN),
    "saving_as_is": Heading("Saving a year as the study has it", "money"),
    "lives_used": Heading("Lives used", "count"),
    "what": Heading("What was found"),
    "why": Heading("Why"),
    "row": Heading("Row", "count"),
    # lives and fits
    "entry": Heading("Age at entry", "usage"),
    "lower": Heading("Survived to", "usage"),
    "upper": Heading("Failed by", "usage", "still alive"),
    "failures": Heading("Failures", "number"),
    "suspensions": Heading("Suspensions", "number"),
    "endpoint": Heading("Endpoint", "text", "pooled"),
    "mode": Heading("Failure mode"),
    "shape": Heading("Shape", "number"),
    "shape_low": Heading("Shape, low", "number"),
    "shape_high": Heading("Shape, high", "number"),
    "scale": Heading("Scale", "usage"),
    "scale_low": Heading("Scale, low", "usage"),
    "scale_high": Heading("Scale, high", "usage"),
    "b10": Heading("B10 life", "usage"),
    "b10_low": Heading("B10 life, low", "usage"),
    "b10_high": Heading("B10 life, high", "usage"),
    "mean_life": Heading("Mean life", "usage"),
    "mean_life_low": Heading("Mean life, low", "usage"),
    "mean_life_high": Heading("Mean life, high", "usage"),
    "early_share": Heading("Early failures", "share"),
    "early_scale": Heading("Mean early life", "usage"),
    "early_sure": Heading("Early failures beyond doubt"),
    "early_share_low": Heading("Early failures, low", "share"),
    "early_share_high": Heading("Early failures, high", "share"),
    "prior_share": Heading("Shape owed to the prior", "share"),
    "borrowed_share": Heading("B10 borrowed from other groups", "share"),
    "b10_wider_prior": Heading("B10 life, shape assumed half as surely", "usage"),
    "evidence": Heading("Evidence"),
    "standing": Heading("What it is good for"),
    "more_failures": Heading("More failures that would halve the B10 band", "count"),
    "shared_failures": Heading("Failures only shared out", "number"),
    "likely_shape": Heading("Likeliest shape", "number"),
    "likely_scale": Heading("Likeliest scale", "usage"),
    "goodness_p": Heading("Chance of so poor a fit (p)", "number"),
    "best_life": Heading("Form of life", "text", "not compared"),
    "lognormal_gain": Heading("Lognormal fits better by (AICc)", "number"),
    "longest_life": Heading("Longest life seen", "usage"),
    "usage": Heading("Usage observed", "usage"),
    "effect": Heading("Effect"),
    "life_ratio": Heading("Life ratio", "ratio"),
    "note": Heading("Note", "text", ""),
    # intervals
    "pumps": Heading("Pumps", "count"),
    "policy": Heading("Policy", "text", "withheld"),
    "interval": Heading("Interval", "usage", RUN),
    "near_best_low": Heading("Near-best from", "usage"),
    "near_best_high": Heading("Near-best to", "usage", "no upper end"),
    "interval_weeks": Heading("Interval at the median pump", "weeks", RUN),
    "cost_rate": Heading("Cost rate, advised", "rate"),
    "cost_rate_run_to_failure": Heading("Cost rate, run to failure", "rate"),
    "cost_rate_today": Heading("Cost rate, today", "rate"),
    "saving_per_year": Heading("Saving a year against today", "money"),
    "saving_low": Heading("Saving a year, low", "money"),
    "saving_high": Heading("Saving a year, high", "money"),
    "saving_vs_run_to_failure": Heading("Saving a year against run to failure", "money"),
    "prob_better": Heading("Chance to beat run to failure", "chance"),
    "failure_prob_at_interval": Heading("Chance of failure within the interval", "share"),
    "release_prob": Heading("Chance of release within one interval (95 % bound)", "share"),
    "ruptures_per_year": Heading("Ruptures a year, whole group", "number"),
    "binding_limit": Heading("Limit that binds", "text", "none"),
    "rate_unit": Heading("Rates are money per"),
    "saving_cash": Heading("Saving a year, cash", "money"),
    "saving_labour_h": Heading("Saving a year, labour", "hours"),
    "saving_downtime_h": Heading("Saving a year, downtime", "hours"),
    "loss_if_wrong": Heading("Loss a year if wrong (P90)", "money"),
    "adopted_interval": Heading("Interval the plant adopted", "usage"),
    "cost_of_keeping": Heading("Cost a year of keeping it", "money"),
    "common_interval": Heading("One interval for all groups", "usage", RUN),
    "cost_of_common": Heading("Cost a year of one for all", "money"),
    "actual_cost_per_breakdown": Heading("A breakdown cost, by the tickets", "money"),
    "tickets_priced": Heading("Tickets priced", "count"),
    "cost_rate_failed_part": Heading("Cost rate, renewing the failed part alone", "rate"),
    "prob_planning_pays": Heading("Chance that planning pays at all", "chance"),
    "knowing_better_per_year": Heading("Worth a year of knowing the lives exactly", "money"),
    "kit_share_today": Heading("Breakdowns with a whole kit, today", "share"),
    "never_planned_today": Heading("Never rebuilt by plan, today", "share"),
    "usage_per_year": Heading("Usage a year, whole group", "usage"),
    "planned_cost": Heading("Cost of a planned rebuild", "money"),
    "failure_cost": Heading("Mean cost of a failure", "money"),
    # due
    "usage_per_week": Heading("Usage a week", "usage"),
    "cost_of_waiting": Heading("Cost of waiting 13 weeks", "money"),
    "amount": Heading("Amount", "money"),
    "clock_from": Heading("Clock runs from", "date"),
    "age_now": Heading("Age now", "usage"),
    "age_known": Heading("Age known"),
    "due_usage": Heading("Due at age", "usage", RUN),
    "due_on": Heading("Due on", "date", RUN),
    "outage_on": Heading("Outage", "date"),
    "do_on": Heading("Do on", "date"),
    "priority": Heading("Priority", "count"),
    "overdue_by": Heading("Overdue by", "usage"),
    "kit_ready": Heading("Kit ready", "code"),
    "failure_prob_by_due": Heading("Chance of failure before it", "share"),
    "failure_prob_13_weeks": Heading("Chance of failure in 13 weeks", "share"),
    "ticket_id": Heading("Ticket"),
    # stock and orders
    "lead_time_days": Heading("Lead time", "days"),
    "demand_per_year": Heading("Unplanned a year", "number"),
    "planned_per_year": Heading("Planned a year", "number"),
    "reorder_point": Heading("Reorder at", "count"),
    "order_up_to": Heading("Order up to", "count"),
    "shortage_prob": Heading("Chance of shortage within lead time and review", "share"),
    "fill_rate": Heading("Met from the shelf", "share"),
    "capital": Heading("Cash tied up", "money"),
    "expiry_risk": Heading("Chance to expire unused", "share"),
    "cost_per_year": Heading("Cost a year", "money"),
    "today_on_hand": Heading("On hand today", "count"),
    "today_shortage_prob": Heading("Chance of shortage today", "share"),
    "pump_days_waiting": Heading("Pump days waiting a year", "days"),
    "capital_today": Heading("Cash tied up today", "money"),
    "surplus": Heading("Surplus", "count"),
    "months_cover": Heading("Cover", "months"),
    "limited_by": Heading("Decided by", "code"),
    "quantity": Heading("Quantity", "count"),
    "needed_by": Heading("Needed by", "date"),
    "order_by": Heading("Order by", "date"),
    # budget
    "year": Heading("Year", "text"),
    "p50": Heading("P50", "number"),
    "p80": Heading("P80", "number"),
    "p90": Heading("P90", "number"),
    "mean": Heading("Mean", "number"),
    # materials
    "material": Heading("Material"),
    "variant": Heading("Variant", "text", ""),
    "reference": Heading("Compared with", "text", "nothing"),
    "reference_failures": Heading("Failures of that", "number"),
    "likelihood_low": Heading("Life ratio, low, lives taken as independent", "ratio"),
    "likelihood_high": Heading("Life ratio, high, lives taken as independent", "ratio"),
    "posterior_low": Heading("Ratio of mean lives as fitted, low", "ratio"),
    "posterior_high": Heading("Ratio of mean lives as fitted, high", "ratio"),
    "prob_longer": Heading("Chance that it lasts longer", "chance"),
    "logrank_p": Heading("Chance of this if equal (log-rank)", "share"),
    "shape_p": Heading("Chance of such shapes if equal", "share", "not asked"),
    "cost_per_1000": Heading("Cost rate at its own best interval", "rate"),
    "reference_cost_per_1000": Heading("Cost rate of what it is compared with", "rate"),
    "prob_cheaper": Heading("Chance that it is cheaper", "chance"),
    "price_now": Heading("Price of the part", "money"),
    "price_break_even": Heading("Price at which both cost the same", "money"),
    "comparable": Heading("Can the records tell?", "text", "it is the reference"),
    "explained_by": Heading("Unrecorded wear that would explain it, times", "ratio"),
    "doubted_by": Heading("Unrecorded wear that would leave it in doubt, times", "ratio"),
    "main_mode": Heading("Main failure mode", "text", "none written"),
    "main_mode_share": Heading("Of the modes written", "share"),
    "released_share": Heading("Failures that let fluid out", "share"),
    "compatibility_confirmed": Heading("Confirmed for this service", "text", "see each service"),
    "choice": Heading("Make-up of the kit"),
    "failures_per_1000": Heading("Failures per rate unit", "number"),
    "releases_per_1000": Heading("Releases per rate unit", "number"),
    "downtime_per_1000": Heading("Downtime per rate unit", "hours"),
    "kit_price": Heading("Price of the kit", "money"),
    "first_on": Heading("First fitted on", "date"),
    "last_on": Heading("Last seen on", "date"),
    # likeness and pumps
    "question": Heading("Question"),
    "compared": Heading("Compared"),
    "p_value": Heading("Chance of this if alike", "share"),
    "p_adjusted": Heading("The same, all comparisons allowed for", "share"),
    "alike": Heading("Alike?"),
    "period": Heading("Period", "text", "today's"),
    "shock": Heading("Shock it ended in"),
    "usage_12m": Heading("Usage, last 12 months", "usage"),
    "breakdowns_12m": Heading("Breakdowns, last 12 months", "count"),
    "expected_breakdowns": Heading("Failures expected in them", "number"),
    "expected_failures": Heading("Expected of its peers", "number"),
    "ratio": Heading("Ratio", "ratio"),
    "ratio_low": Heading("Ratio, low", "ratio"),
    "ratio_high": Heading("Ratio, high", "ratio"),
    "prob_worse": Heading("Chance of over 1.5 times its peers", "share"),
    "cost_12m": Heading("Cost, last 12 months", "money"),
    "expected_cost": Heading("Cost expected in them", "money"),
    "follows": Heading("Excess follows"),
    "rebuild_or_replace": Heading("Rebuild or replace"),
    "look_at": Heading("Look at first"),
    "per_year": Heading("A year", "number"),
    "shocks": Heading("Shocks", "count"),
    "records_from": Heading("Records from", "date"),
    "start_on": Heading("Fitted on", "date"),
    "end_on": Heading("Ended on", "date"),
    "source_rows": Heading("Source rows"),
}

OF_TABLE: dict[tuple[str, str], Heading] = {
    ("audit", "file"): Heading("File, where a table has several"),
    ("pumps", "ratio"): Heading("Hazard over its peers'", "ratio"),
    ("pumps", "failures"): Heading("Failures of its parts", "number"),
    ("budget", "quantity"): Heading("Quantity", "code"),
    ("intervals", "size_mm"): Heading("Size [mm]", "number"),
    ("money", "p50"): Heading("P50", "money"),
    ("money", "p80"): Heading("P80", "money"),
    ("money", "p90"): Heading("P90", "money"),
    ("money", "mean"): Heading("Mean", "money"),
    ("account", "kind"): Heading("Kind", "code"),
    ("account", "key"): Heading("Which"),
    ("account", "rows"): Heading("Row of the source"),
    ("account", "count"): Heading("Number", "count"),
    ("account", "status"): Heading("Status", "code"),
    ("account", "reason"): Heading("Why, or what came of it"),
    ("stock", "kind"): Heading("Kind", "code"),
    ("duty_effects", "ratio_low"): Heading("Life ratio, low", "ratio"),
    ("duty_effects", "ratio_high"): Heading("Life ratio, high", "ratio"),
    ("materials", "service"): Heading("Service", "text", "all that held both"),
    ("materials", "ratio_low"): Heading("Life ratio, low", "ratio"),
    ("materials", "ratio_high"): Heading("Life ratio, high", "ratio"),
    ("materials", "usage"): Heading("Usage of the parts", "usage"),
    ("materials", "saving_per_year"): Heading("Saving a year, all its pumps changed", "money"),
    ("material_exposure", "usage"): Heading("Usage of the parts", "usage"),
    ("pumps", "standing"): Heading("Standing"),
    ("questions", "money"): Heading("Roughly at stake", "money"),
    ("questions", "money_from"): Heading("How that is reckoned"),
    ("questions", "question"): Heading("Its id, for decisions.csv"),
    ("questions", "kind"): Heading("Kind", "code"),
    ("questions", "what"): Heading("Question"),
    ("questions", "choices"): Heading("Answers"),
    ("questions", "consequence"): Heading("Until then"),
    ("questions", "answer_line"): Heading("Line to write"),
}

UNIT_OF_KIND = {
    "usage": "{usage}",
    "money": "{currency}",
    "rate": "{currency} per {rate}",
    "days": "days",
    "weeks": "weeks",
    "hours": "h",
    "months": "months",
}


def find_heading(table: str, column: str) -> Heading:
    """Find the heading of a column; a column that nobody named is called by its own name.

    Parameters
    ----------
    table, column : str
        Names as in the output tables.

    Returns
    -------
    Heading
    """
    known = OF_TABLE.get((table, column)) or HEADINGS.get(column)
    return known or Heading(column.replace("_", " ").capitalize())


def write_heading(table: str, column: str, units: Units) -> str:
    """Give the words above a column, with the unit in brackets.

    Parameters
    ----------
    table, column : str
        Names as in the output tables.
    units : Units
        Of the plant.

    Returns
    -------
    str
        "Interval [h]".
    """
    heading = find_heading(table, column)
    unit = UNIT_OF_KIND.get(heading.kind, "")
    values: dict[str, Any] = {"usage": units.usage, "currency": units.currency, "rate": units.rate}
    return f"{heading.words} [{unit.format(**values)}]" if unit else heading.words
