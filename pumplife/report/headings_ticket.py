"""What the columns about tickets that came back are called."""

from pumplife.report.headings import Heading

OF_TICKETS: dict[tuple[str, str], Heading] = {
    ("ticket_answers", "done_on"): Heading("Done on", "date"),
    ("ticket_answers", "done"): Heading("Done", "code"),
    ("ticket_answers", "answer"): Heading("Answer", "code"),
    ("ticket_answers", "what"): Heading("Why, and what it changed", "text", ""),
    ("ticket_answers", "failures"): Heading("Failures that it tells", "count"),
    ("ticket_answers", "worn"): Heading("Pulled as worn", "count"),
    ("ticket_answers", "suspensions"): Heading("Parts that had not failed", "count"),
    ("ticket_answers", "file"): Heading("File"),
}
