"""What the columns of coverage, shares on condition and ways of supply are called."""

from pumplife.report.headings import Heading

_UNKNOWN = "not known"

OF_PARTS: dict[tuple[str, str], Heading] = {
    ("coverage", "services"): Heading("Services"),
    ("coverage", "kits"): Heading("Kits that hold it", "text", "none"),
    ("coverage", "failed_per_year"): Heading("Fail a year", "number", _UNKNOWN),
    ("coverage", "demand_per_year"): Heading("Fitted a year", "number", _UNKNOWN),
    ("coverage", "kit_supplied_per_year"): Heading("Out of kits a year", "number"),
    ("coverage", "uncovered_per_year"): Heading("Loose a year", "number", _UNKNOWN),
    ("coverage", "surplus_per_year"): Heading("Left of kits a year", "number", _UNKNOWN),
    ("coverage", "surplus_value"): Heading("Value left a year", "money", _UNKNOWN),
    ("coverage", "why"): Heading("Why not known", "text", ""),
    ("on_condition", "opening"): Heading("Opening", "text", "any"),
    ("on_condition", "openings"): Heading("Openings known", "count", _UNKNOWN),
    ("on_condition", "renewed"): Heading("Took it", "count", _UNKNOWN),
    ("on_condition", "share"): Heading("Share that takes it", "share", _UNKNOWN),
    ("on_condition", "share_low"): Heading("Share, low", "share", _UNKNOWN),
    ("on_condition", "share_high"): Heading("Share, high", "share", _UNKNOWN),
    ("on_condition", "pieces"): Heading("Pieces at once", "number", _UNKNOWN),
    ("on_condition", "elsewhere"): Heading("Issued at other work", "count", _UNKNOWN),
    ("on_condition", "note"): Heading("Note", "text", ""),
    ("kit_or_parts", "way"): Heading("Way of supply"),
    ("kit_or_parts", "advised"): Heading("Advised", "text", ""),
    ("kit_or_parts", "keeps_practice"): Heading("Keeps to the rebuild advice"),
    ("kit_or_parts", "kits_per_year"): Heading("Kits a year", "number"),
    ("kit_or_parts", "parts_per_year"): Heading("Loose parts a year", "number"),
    ("kit_or_parts", "bought_per_year"): Heading("Bought a year", "money"),
    ("kit_or_parts", "keeping_per_year"): Heading("Keeping and ordering a year", "money"),
    ("kit_or_parts", "waiting_per_year"): Heading("Waiting pumps a year", "money"),
    ("kit_or_parts", "work_per_year"): Heading("Work and failures a year", "money"),
    ("kit_or_parts", "money_per_year"): Heading("Together a year", "money"),
    ("kit_or_parts", "left_over_per_year"): Heading("Left of broken kits a year", "money"),
    ("kit_or_parts", "to_stock"): Heading("Keep up to"),
    ("kit_or_parts", "why"): Heading("Why"),
}
"""Headings by table and column."""
