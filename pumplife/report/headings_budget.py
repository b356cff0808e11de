"""What the columns of the budget and of what stands beside it are called, and in which unit."""

from pumplife.report.headings import Heading

OF_BUDGET: dict[tuple[str, str], Heading] = {
    ("budget", "span"): Heading("Span"),
    ("bridge", "place"): Heading("Step", "count"),
    ("bridge", "cause"): Heading("Cause"),
    ("bridge", "level"): Heading("Reached", "money"),
    ("bridge", "what"): Heading("What changes"),
    ("cash", "what"): Heading("For"),
    ("booked", "quantity"): Heading("Booked as", "code"),
    ("booked", "months"): Heading("Months with a booking", "count"),
    ("booked", "booked"): Heading("Booked", "number"),
    ("booked", "by_tickets"): Heading("By the tickets", "number"),
    ("booked", "expected"): Heading("Expected", "number"),
    ("booked", "low"): Heading("Expected, low", "number"),
    ("booked", "high"): Heading("Expected, high", "number"),
    ("booked", "ratio"): Heading("Booked over expected", "ratio"),
    ("booked", "says"): Heading("Says"),
    ("budget_services", "pumps"): Heading("Pumps", "count"),
    ("budget_services", "kits"): Heading("Kits, mean", "number"),
    ("budget_services", "breakdowns"): Heading("Breakdowns, mean", "number"),
    ("budget_services", "mean"): Heading("Money, mean", "money"),
    ("budget_services", "p80"): Heading("Money, P80", "money"),
    ("budget_pumps", "kits"): Heading("Kits, mean", "number"),
    ("budget_pumps", "breakdowns"): Heading("Breakdowns, mean", "number"),
    ("budget_pumps", "mean"): Heading("Money, mean", "money"),
    ("budget_pumps", "p80"): Heading("Money, P80", "money"),
}
