"""What the columns on stock levels and past use are called."""

from pumplife.report.headings import Heading

STOCK_HEADINGS: dict[str, Heading] = {
    "cycle_service": Heading("Order cycles in which nothing waits", "share"),
    "rush_per_year": Heading("Rush orders a year", "number"),
    "reserve": Heading("Kept for critical pumps", "count"),
    "critical_fill": Heading("Met on critical pumps, at least", "share"),
    "issued_12m": Heading("Issued, last 12 months", "number"),
    "issued_per_year": Heading("Issued a year", "number"),
    "issue_size": Heading("Issued in a month with issues", "number"),
    "months_between": Heading("From one such month to the next", "months"),
    "croston_per_year": Heading("Issued a year, smoothed", "number"),
    "expected_12m": Heading("Expected in the same 12 months", "number"),
    "expected_low": Heading("90 % of chance, low", "number"),
    "expected_high": Heading("90 % of chance, high", "number"),
    "next_12m": Heading("Expected in the next 12 months", "number"),
}
STOCK_OF_TABLE: dict[tuple[str, str], Heading] = {
    ("demand_check", "kind"): Heading("Kind", "code"),
    ("demand_check", "breakdowns_12m"): Heading("Taken by breakdowns, last 12 months", "number"),
    ("demand_check", "ratio"): Heading("Expected over taken", "ratio"),
}
