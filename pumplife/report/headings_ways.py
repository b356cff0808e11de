"""What the columns on the years ahead of each way of working, and on more records, are called."""

from pumplife.report.headings import Heading

OF_WAYS: dict[tuple[str, str], Heading] = {
    ("intervals", "worth_of_half_year_told"): Heading(
        "Worth a year of half a year more of records, as far as known", "text", "not known"
    ),
    ("policies", "cost_3_years"): Heading(
        "Cost of the next 3 years, discounted", "money", "not looked at"
    ),
    ("policies", "cost_3_years_low"): Heading("Next 3 years, low", "money"),
    ("policies", "cost_3_years_high"): Heading("Next 3 years, high", "money"),
    ("policies", "cost_3_years_error"): Heading("Next 3 years, standard error", "money"),
    ("policies", "availability_3_years"): Heading("Availability, next 3 years", "share"),
    ("policies", "failures_3_years"): Heading("Failures, next 3 years", "number"),
    ("policies", "kits_3_years"): Heading("Kits, next 3 years", "number"),
    ("policies", "spills_3_years"): Heading("Releases of fluid, next 3 years", "number"),
}
