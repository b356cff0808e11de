"""What the columns on changes and the month's figures are called."""

from pumplife.report.headings import Heading

OF_SINCE: dict[tuple[str, str], Heading] = {
    ("changes", "table"): Heading("Answer stands in", "code"),
    ("changes", "key"): Heading("Of"),
    ("changes", "column"): Heading("Answer", "code"),
    ("changes", "before"): Heading("Was", "text", "none"),
    ("changes", "after"): Heading("Is", "text", "none"),
    ("changes", "cause"): Heading("Cause"),
    ("changes", "share_of_change"): Heading("Share of the change", "share"),
    ("changes", "reached"): Heading("With this cause and those before", "text", "none"),
    ("kpi", "month"): Heading("Month", "date"),
    ("kpi", "measure"): Heading("Measure", "code"),
    ("kpi", "value"): Heading("Value", "number"),
    ("kpi", "base"): Heading("Base", "number"),
    ("kpi", "definition"): Heading("What it is, and its base"),
}
