"""What each column of the tables of trials is called."""

from pumplife.report.headings import Heading

_SHARED = {
    "trial_id": Heading("Trial"),
    "wanted_ratio": Heading("Life ratio that would pay", "ratio"),
    "events_needed": Heading("Failures needed", "number", "can't be told"),
    "decision": Heading("Decision"),
    "followed_as": Heading("Compared"),
    "false_alarm": Heading("Chance of a false alarm", "share"),
    "pumps_each": Heading("Pumps with each material", "count"),
    "usage_per_pump": Heading("Usage of each pump", "usage"),
    "power": Heading("Chance that it shows the ratio", "share"),
}
_OWN = {
    "trials": {
        "started_on": Heading("Began on", "date"),
        "ends_on": Heading("Ends on", "date", "not written"),
        "pumps": Heading("Pumps with the material on trial", "count"),
        "reference_pumps": Heading("Pumps with the reference", "count"),
        "pairs": Heading("Pairs", "count"),
        "events": Heading("Failures so far, both", "number"),
        "life_ratio": Heading("Life ratio so far", "ratio"),
        "ratio_low": Heading("Life ratio, low", "ratio"),
        "ratio_high": Heading("Life ratio, high", "ratio"),
        "looks_used": Heading("Looks so far", "count"),
        "looks": Heading("Looks in all", "count"),
        "expected_end": Heading("Expected end", "date", "not expected"),
        "why": Heading("Why"),
    },
    "trial_looks": {
        "look": Heading("Look", "count"),
        "looked_on": Heading("On", "date"),
        "events": Heading("Failures by then, both", "number"),
        "share": Heading("Of the failures needed", "share"),
        "score": Heading("Score for the longer life", "number", "nothing told"),
        "bound": Heading("Shown from a score of", "number"),
        "spent": Heading("Risk of a false alarm spent", "share"),
    },
    "trial_plans": {
        "pays": Heading("Does a trial pay?"),
        "wanted_ratio": Heading("Life ratio that it is to show", "ratio"),
        "weeks": Heading("At the median pump", "weeks"),
        "failures_expected": Heading("Failures expected, both", "number"),
        "looks": Heading("Looks", "count"),
        "planned_interval": Heading("Planned renewals meanwhile at", "usage", "none"),
        "break_even_ratio": Heading("Life ratio at which both cost the same", "ratio", "none"),
        "trial_saves": Heading("Expected to save, more than deciding now", "money"),
        "trial_costs": Heading("Expected to cost", "money"),
        "most_to_save": Heading("To know the ratio for certain would save", "money"),
        "why": Heading("Why"),
    },
    "trial_power": {
        "wanted_ratio": Heading("Life ratio that it is to show", "ratio"),
        "planned": Heading("Proposed", "text", ""),
    },
}
OF_TRIALS = {
    (table, column): heading
    for table, own in _OWN.items()
    for column, heading in {**_SHARED, **own}.items()
}
"""Headings by table and column."""
