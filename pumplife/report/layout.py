"""Which rows and columns of the output tables stand on the page; the CSV files hold the rest."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from pumplife.report.answer import count_rules, show_findings
from pumplife.report.budget_words import name_years
from pumplife.report.dues import split_due
from pumplife.report.face import ReadableStudy, find_table, study_units
from pumplife.report.links import link_groups, link_tickets
from pumplife.report.tables import PageTable, lay_out
from pumplife.report.words import Units

MOST_ROWS = 150  # of a table on the page; the whole of it is in tables/
MOST_AUDIT_ROWS = 60
MOST_QUESTIONS = 20
MOST_OUTAGE = 40
MOST_CHANGES = 24  # rows of what if the records are read otherwise
SCENARIO_ORDER = ("actual", "today", "advised", "adopted", "run_to_failure")

COLUMNS: dict[str, tuple[str, ...]] = {
    "due": (
        "pump_id", "location", "service", "side", "kit", "due_on", "do_on", "overdue_by",
        "failure_prob_13_weeks", "kit_ready", "ticket_id", "without_advice",
    ),
    "outage": (
        "outage_on", "pump_id", "location", "service", "side", "do", "gain", "hours", "kit",
        "kit_ready", "reason",
    ),
    "ticket_answers": ("ticket_id", "pump_id", "done_on", "answer", "what"),
    "few_intervals": ("values_count", "values", "cost", "extra_per_year", "share", "chosen"),
    "materials": (
        "service", "part", "material", "variant", "reference", "failures", "life_ratio",
        "prob_longer", "cost_per_1000", "prob_cheaper", "comparable", "compatibility_confirmed",
        "note",
    ),
    "trials": (
        "trial_id", "service", "part", "material", "variant", "reference", "followed_as", "events",
        "events_needed", "life_ratio", "looks_used", "decision", "expected_end", "why",
    ),
    "trial_plans": (
        "service", "part", "material", "variant", "reference", "pays", "pumps_each", "weeks",
        "wanted_ratio", "power", "trial_saves", "trial_costs", "why",
    ),
    "orders": ("store", "item", "quantity", "order_by", "needed_by", "why"),
    "stock": (
        "store", "item", "demand_per_year", "planned_per_year", "reorder_point", "order_up_to",
        "fill_rate", "cycle_service", "today_on_hand", "today_shortage_prob", "verdict",
    ),
    "shelf": (
        "store", "item", "cure_date", "quantity", "expires_on", "state", "likely_unused", "value",
        "do",
    ),
    "coverage": (
        "store", "part_no", "part", "kits", "failed_per_year", "demand_per_year",
        "kit_supplied_per_year", "uncovered_per_year", "surplus_per_year", "why",
    ),
    "on_condition": (
        "part_no", "part", "opening", "openings", "renewed", "share", "pieces", "note",
    ),
    "kit_or_parts": (
        "store", "kit", "way", "bought_per_year", "keeping_per_year", "waiting_per_year",
        "work_per_year", "money_per_year", "to_stock", "why",
    ),
    "transfers": (
        "item", "from_store", "to_store", "quantity", "there_on", "transfer_cost",
        "order_avoided", "keeping_avoided", "why",
    ),
    "pooling": (
        "item", "stores", "apart_pieces", "pooled_pieces", "saving_before_transfers", "advice",
        "saving_per_year", "holds", "why",
    ),
    "rotables": (
        "size_mm", "materials", "services", "pumps", "removals_per_year", "turnaround_days",
        "spares_today", "spares_90", "spares_95", "spares_99", "spares_advised", "why",
    ),
    "fits": (
        "service", "size_mm", "part", "position", "material", "variant", "failures", "suspensions",
        "shape", "scale", "b10", "verdict",
    ),
    "fits_more": (
        "service", "size_mm", "part", "position", "material", "variant", "failures", "mean_life",
        "b10", "early_share", "goodness_p", "best_life", "lognormal_gain", "borrowed_share",
        "prior_share", "b10_wider_prior", "method",
    ),
    "duty_effects": ("part", "effect", "life_ratio", "failures", "pumps", "note"),
    "budget": ("year", "site", "scenario", "p50", "p80", "p90", "mean"),
    "bridge": ("what", "cause", "amount", "level"),
    "booked": (
        "from_on", "to_on", "site", "quantity", "booked", "by_tickets", "expected", "low", "high",
        "ratio", "says",
    ),
    "budget_services": ("service", "pumps", "kits", "breakdowns", "mean", "p80"),
    "budget_pumps": ("pump_id", "site", "service", "kits", "breakdowns", "mean", "p80"),
    "audit": ("severity", "table", "row", "pump_id", "rule", "what", "consequence", "remedy"),
    "questions": ("money", "pump_id", "what", "choices", "consequence", "question"),
    "likeness": ("question", "verdict", "ratio", "p_adjusted"),
    "pumps": (
        "pump_id", "location", "service", "failures", "expected_failures", "ratio", "standing",
        "cost_12m", "expected_cost", "look_at",
    ),
    "sensitivity": (
        "change", "service", "size_mm", "side", "kit", "main_part", "scale_ratio", "shape_ratio",
        "interval_as_is", "interval", "saving_as_is", "saving_per_year", "note",
    ),
    "rules": ("severity", "table", "rule", "rows", "what", "consequence", "remedy"),
}  # fmt: skip

BANDS = {"shape": ("shape_low", "shape_high"), "scale": ("scale_low", "scale_high")}
MORE_BANDS = {
    "mean_life": ("mean_life_low", "mean_life_high"),
    "b10": ("b10_low", "b10_high"),
    "early_share": ("early_share_low", "early_share_high"),
}
RATIO_BAND = {"life_ratio": ("ratio_low", "ratio_high"), "ratio": ("ratio_low", "ratio_high")}
SHARE_BAND = {"share": ("share_low", "share_high")}
MOST_PUMPS = 15  # on the page, where none stands out
ALIKE = ("no difference shown", "too few to tell", "adds up")


def lay_out_tables(study: ReadableStudy) -> dict[str, PageTable]:
    """Lay out every table of the page.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    dict of name to PageTable
    """
    units = study_units(study)
    audit = find_table(study, "audit")
    frames = {
        "orders": (find_table(study, "orders"), MOST_ROWS),
        "stock": (find_table(study, "stock"), MOST_ROWS),
        "shelf": (show_shelf(study), MOST_ROWS),
        "audit": (show_findings(audit), MOST_AUDIT_ROWS),
        "questions": (find_table(study, "questions"), MOST_QUESTIONS),
        "outage": (find_table(study, "outage"), MOST_OUTAGE),
        "ticket_answers": (find_table(study, "ticket_answers"), MOST_ROWS),
        "few_intervals": (find_table(study, "few_intervals"), MOST_ROWS),
        "sensitivity": (sort_by_change(find_table(study, "sensitivity")), MOST_CHANGES),
    }
    laid = {
        name: lay_out(frame, name, units, columns=COLUMNS[name], most=most)
        for name, (frame, most) in frames.items()
    }
    laid["due"] = _lay_out_due(study, units)
    laid["fits"] = lay_out_fits(find_table(study, "fits"), units, most=MOST_ROWS)
    laid["fits_more"] = lay_out_fits(find_table(study, "fits"), units, most=MOST_ROWS, more=True)
    laid["duty_effects"] = _lay_out_effects(find_table(study, "duty_effects"), units)
    for name, frame in (
        ("likeness", show_differences(study)),
        ("pumps", show_pumps(study)),
        ("materials", show_materials(study)),
        ("coverage", show_uncovered(find_table(study, "coverage"))),
        ("on_condition", find_table(study, "on_condition")),
        ("kit_or_parts", show_advised_supply(find_table(study, "kit_or_parts"))),
        ("transfers", find_table(study, "transfers")),
        ("pooling", find_table(study, "pooling")),
        ("rotables", find_table(study, "rotables")),
        ("trials", find_table(study, "trials")),
        ("trial_plans", find_table(study, "trial_plans")),
    ):
        laid[name] = lay_out(
            frame, name, units, columns=COLUMNS[name], most=MOST_ROWS, bands=RATIO_BAND | SHARE_BAND
        )
    laid["rules"] = lay_out(count_rules(audit), "audit", units, columns=COLUMNS["rules"])
    laid |= _lay_out_money(study, units)
    return laid | _lay_out_budget(find_table(study, "budget"), units)


def show_differences(study: ReadableStudy) -> pd.DataFrame:
    """Pick the comparisons in which lives are not alike."""
    likeness = find_table(study, "likeness")
    return likeness if likeness.empty else likeness[~likeness["alike"].isin(ALIKE)]


def count_comparisons(study: ReadableStudy) -> str:
    """Say how many comparisons were made of which question, and how many show a difference."""
    likeness = find_table(study, "likeness")
    if likeness.empty:
        return ""
    asked = likeness[likeness["alike"] != ALIKE[1]]
    differ = ~asked["alike"].isin(ALIKE)
    counts = differ.groupby(asked["question"], sort=False).agg(["size", "sum"])
    told = [f"{name} {int(row['sum'])} of {int(row['size'])}" for name, row in counts.iterrows()]
    few = len(likeness) - len(asked)
    found = "Some lives differ" if differ.any() else "No lives are shown to differ"
    return f"{found}: {', '.join(told)}. {few} comparisons more have too few failures."


def show_pumps(study: ReadableStudy) -> pd.DataFrame:
    """Pick the pumps with a standing, and the worst of the others up to a screenful."""
    pumps = find_table(study, "pumps")
    if pumps.empty:
        return pumps
    return pumps.head(max(MOST_PUMPS, int((pumps["standing"] != "").sum())))


def show_shelf(study: ReadableStudy) -> pd.DataFrame:
    """Pick the stock that isn't simply usable, what expires first before the rest."""
    shelf = find_table(study, "shelf")
    if shelf.empty:
        return shelf
    return shelf[shelf["state"] != "usable"].sort_values("expires_on", kind="stable")


def show_materials(study: ReadableStudy) -> pd.DataFrame:
    """Pick the comparisons of materials: where there is another one to compare with."""
    materials = find_table(study, "materials")
    return materials if materials.empty else materials[materials["reference"] != ""]


def show_uncovered(coverage: pd.DataFrame) -> pd.DataFrame:
    """Pick the parts that kits don't cover, bring too many of, or of which nothing is known."""
    if coverage.empty:
        return coverage
    loose = (coverage["uncovered_per_year"] > 0) | (coverage["surplus_per_year"] > 0)
    return coverage[loose | (coverage["why"] != "")]


def show_advised_supply(ways: pd.DataFrame) -> pd.DataFrame:
    """Pick the advised way of supplying each kit."""
    return ways if ways.empty else ways[ways["advised"] == "yes"]


def sort_by_change(sensitivity: pd.DataFrame) -> pd.DataFrame:
    """Put first what changes the policy, then the intervals that move most.

    Parameters
    ----------
    sensitivity : DataFrame
        The output table.
    """
    if sensitivity.empty:
        return sensitivity
    now, before = (sensitivity[name].to_numpy(float) for name in ("interval", "interval_as_is"))
    step = np.abs(np.log(now) - np.log(before))
    step = np.where(np.isnan(now) != np.isnan(before), np.inf, np.nan_to_num(step, nan=-1.0))
    return sensitivity.iloc[np.argsort(-step, kind="stable")]


def lay_out_fits(
    fits: pd.DataFrame,
    units: Units,
    *,
    most: int = 30,
    without: Sequence[str] = (),
    more: bool = False,
) -> PageTable:
    """Lay out the lives of parts, each with its band in one cell.

    Parameters
    ----------
    fits : DataFrame
        Rows of the output table.
    units : Units
        Of the plant.
    most : int
        Rows shown at most.
    without : sequence of str
        Columns that the place of the table says already.
    more : bool
        Whether to show what only a statistician asks for.

    Returns
    -------
    PageTable
    """
    if not fits.empty:
        fits = fits[fits["mode"] == ""]
        worn = fits["endpoint"] == "worn or failed"
        fits = fits.assign(part=fits["part"].mask(worn, fits["part"] + ", worn or failed"))
        if "period" in fits:
            past = fits["period"] != ""
            fits = fits.assign(part=fits["part"].mask(past, fits["part"] + ", " + fits["period"]))
    columns = [name for name in COLUMNS["fits_more" if more else "fits"] if name not in without]
    bands = MORE_BANDS if more else BANDS
    return lay_out(fits, "fits", units, columns=columns, most=most, bands=bands)


def _lay_out_due(study: ReadableStudy, units: Units) -> PageTable:
    rows, _ = split_due(find_table(study, "due"))
    shown = rows.head(MOST_ROWS)
    links = {"ticket_id": link_tickets(study, shown), "kit": link_groups(shown)}
    return lay_out(rows, "due", units, columns=COLUMNS["due"], most=MOST_ROWS, links=links)


def _lay_out_effects(effects: pd.DataFrame, units: Units) -> PageTable:
    """Lay out the effects that could be told; why the others couldn't is in the CSV."""
    shown = effects if effects.empty else effects[effects["life_ratio"].notna()]
    columns = COLUMNS["duty_effects"]
    return lay_out(shown, "duty_effects", units, columns=columns, most=MOST_ROWS, bands=RATIO_BAND)


def _lay_out_money(study: ReadableStudy, units: Units) -> dict[str, PageTable]:
    """Lay out what stands beside the budget: bridge, bookings, services, dearest pumps."""
    bridge = find_table(study, "bridge")
    frames = {
        "bridge": bridge if bridge.empty else bridge[bridge["site"] == "all"],
        "booked": find_table(study, "booked"),
        "budget_services": find_table(study, "budget_services"),
        "budget_pumps": find_table(study, "budget_pumps"),
    }
    return {
        name: lay_out(frame, name, units, columns=COLUMNS[name], most=MOST_PUMPS * 2)
        for name, frame in frames.items()
    }


def _lay_out_budget(budget: pd.DataFrame, units: Units) -> dict[str, PageTable]:
    money, pieces = split_budget(budget)
    columns = COLUMNS["budget"]
    if not budget.empty and money["site"].nunique() < 2:
        columns = tuple(name for name in columns if name != "site")
    return {
        "budget": lay_out(money, "money", units, columns=columns, file="budget"),
        "budget_pieces": lay_out(
            pieces, "budget", units, columns=("quantity", *columns), most=MOST_ROWS
        ),
    }


def split_budget(budget: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give the rows of money and the others, all sites first, with words for the years.

    Rows of the only site of a plant repeat those of all sites and are left out, and so is what
    is nothing in every year.

    Parameters
    ----------
    budget : DataFrame
        The output table.

    Returns
    -------
    money, pieces : DataFrame
    """
    if budget.empty:
        return budget, budget
    alone = budget.loc[budget["site"] != "all", "site"].nunique() < 2
    kept = budget[(budget["site"] == "all") | (not alone)]
    most = kept[["p50", "p90", "mean"]].abs().max(axis=1).groupby(kept["quantity"]).transform("max")
    kept = kept[(most > 0) | (kept["quantity"] == "money")]
    ordered = kept.assign(
        first=kept["site"] != "all",
        scene=kept["scenario"].map({name: place for place, name in enumerate(SCENARIO_ORDER)}),
    ).sort_values(["first", "site", "year", "scene"], kind="stable")
    words = ordered.assign(
        year=name_years(ordered),
        site=ordered["site"].mask(~ordered["first"], "all sites"),
    )
    is_money = ordered["quantity"] == "money"
    return words[is_money], words[~is_money]
