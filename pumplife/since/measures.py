"""The month's figures: what each is, what it is counted against, and in which words."""

from dataclasses import dataclass

LEAST_BASE = 5.0
"""Base below which a month shows a count in place of a rate or share."""
PER_USAGE = {
    "hours": ("per_1000_h", 1e3, "1,000 h"),
    "cycles": ("per_million_cycles", 1e6, "million cycles"),
    "days": ("per_1000_days", 1e3, "1,000 days in service"),
}
"""By usage unit: the end of the measure's name, usage units of one, and words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One figure of a month.

    Attributes
    ----------
    name : str
        What it is called.
    count : str
        What its count is called, shown where the base is under `LEAST_BASE`; "" for a figure
        that is a sum and shown always.
    over, under : str
        The sum that is divided, and the one it is divided by.
    counted, based_on : str
        The sum that is the count, and the one that is the base; "" = `over` and `under`.
    words : str
        The definition.
    base : str
        What the base is.
    factor : float
        The ratio is multiplied by it.
    """

    name: str
    over: str
    under: str
    words: str
    base: str
    count: str = ""
    counted: str = ""
    based_on: str = ""
    factor: float = 1.0


def list_measures(usage_unit: str) -> tuple[Measure, ...]:
    """The measures of a plant, in the order of the table."""
    return (*_of_failures(usage_unit), *_of_rebuilds(usage_unit), *_of_records())


def _of_failures(usage_unit: str) -> tuple[Measure, ...]:
    """How often pumps fail."""
    end, _, per = PER_USAGE[usage_unit]
    return (
        Measure(
            name="breakdowns_per_100_pump_months",
            count="breakdowns",
            over="breakdowns",
            under="pump_months",
            factor=100.0,
            words="Orders called breakdowns",
            base="months of pumps in service",
        ),
        Measure(
            name=f"ruptures_{end}",
            count="ruptures",
            over="ruptures",
            under="usage",
            words="Breakdowns that let process fluid out, by the part blamed or as the ticket "
            f"says, per {per} of pumps",
            base=f"usage of the pumps in {per}",
        ),
        Measure(
            name="stoppages",
            over="stoppages",
            under="pump_months",
            words="Orders called stoppages; they end no life",
            base="months of pumps in service",
        ),
    )


def _of_rebuilds(usage_unit: str) -> tuple[Measure, ...]:
    """How rebuilds are planned, and what they take."""
    return (
        Measure(
            name="planned_share",
            count="planned_rebuilds",
            over="planned",
            under="rebuilds",
            words="Rebuilds of a side with its kit, or of all its wearing parts, that followed no "
            "breakdown, as a share of all such rebuilds",
            base="such rebuilds",
        ),
        Measure(
            name="kept_to_interval",
            count="planned_rebuilds_within_10_percent",
            over="kept",
            under="due",
            words="Planned rebuilds within 10 % of the interval in usage, the adopted one, else "
            "the one advised today, as a share of those of known usage in groups with an interval",
            base="such planned rebuilds",
        ),
        Measure(
            name=f"usage_between_rebuilds_{usage_unit}",
            count="rebuilds",
            over="usage_run",
            under="rebuilds",
            counted="rebuilds",
            words=f"Usage of the pumps over rebuilds of a side [{usage_unit}]",
            base="rebuilds",
        ),
        Measure(
            name="breakdown_cost_share",
            count="breakdowns_priced",
            over="breakdown_money",
            under="money",
            counted="broken_visits",
            based_on="visits",
            words="Money that work after breakdowns took (kits, labour, lost production, call-out, "
            "clean-up), as a share of all such money, at today's prices",
            base="visits to a side, each with what its ticket says",
        ),
    )


def _of_records() -> tuple[Measure, ...]:
    """What orders say, and how well the work is recorded."""
    return (
        Measure(
            name="labour_h",
            over="labour_h",
            under="labour_told",
            words="Hours worked, as the orders say",
            base="orders that say it",
        ),
        Measure(
            name="downtime_h",
            over="downtime_h",
            under="downtime_told",
            words="Hours out of use, as the orders say, waiting among them",
            base="orders that say it",
        ),
        Measure(
            name="well_recorded_share",
            count="lives_well_recorded",
            over="lives_known",
            under="lives",
            words="Lives of parts that ended in the month with their usage measured and the part "
            "number known, as a share of all lives that ended",
            base="lives that ended",
        ),
        Measure(
            name="on_tickets_share",
            count="orders_on_tickets",
            over="on_tickets",
            under="orders",
            words="Orders that answer a rebuild ticket, as a share of all orders on pumps",
            base="orders",
        ),
    )
