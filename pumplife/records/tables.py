"""The tables a plant folder may hold: every column, what it means and how it is written."""

from pumplife.records.bench_tables import RETURNED, TRIAL_PUMPS, TRIALS
from pumplife.records.questions import DECISIONS
from pumplife.records.schema import Table, code, date, number, text, yes_no

DUTY_COLUMNS = (
    "site",
    "service",
    "location",
    "store",
    "size_mm",
    "hazard",
    "criticality",
    "standby",
    "downtime_per_h",
    "use_per_week",
    "stroke_rate",
    "pressure",
    "temperature",
    "solids",
)
"""Columns of pumps that describe duty and that a move may change."""

SIDE_WORDS = ("none", "all_fluid", "all_air")
"""Words that may stand where a part is named."""

UNITS = "hours cycles strokes"
SIDES = "fluid air"

_HAZARD = code(
    "hazard",
    "none hazardous",
    "hazardous where a leak could hurt people or the water",
    unreadable="hazardous",
)

_DUTY = (
    text("store", "the store that serves it; blank = named like the site"),
    number("size_mm", "nominal port size [mm]"),
    _HAZARD,
    text("criticality", "the plant's own class"),
    code("standby", "none installed by_hand", "what takes over when the pump stands"),
    number("downtime_per_h", "money lost per hour of downtime; blank = the service's"),
    number("use_per_week", "usual usage in a week [usage units]; used where no meter is read"),
    number("stroke_rate", "strokes per minute"),
    number("pressure", "air pressure [bar]"),
    number("temperature", "fluid temperature [°C]", signed=True),
    text("solids", "what solids the fluid carries"),
)

_LEAD = (
    date("valid_from", "from when it can be bought at this price; a later date is a plan"),
    text("superseded_by", "the number that takes its place"),
    number("lead_time_days", "usual days from order to receipt"),
    number("lead_time_high", "days that are exceeded once in ten orders"),
    number("min_order", "least quantity of an order"),
)

_PUMPS = Table(
    name="pumps",
    meaning="one row per pump that the plant has or had",
    key=("pump_id",),
    required=True,
    columns=(
        text("pump_id", "the number on the pump itself", required=True),
        text("site", "where it stands; needed where there are several"),
        text("service", "what it moves; pumps of one service see like duty", required=True),
        text("location", "the place it serves, apart from the pump"),
        *_DUTY[:2],
        text("fluid_kit", "the fluid side kit that is fitted today"),
        text("air_kit", "the air side kit that is fitted today"),
        date("commissioned_on", "first day in use"),
        date("retired_on", "last day in use"),
        date("last_fluid_renewal_on", "last whole fluid renewal before the window, if known"),
        date("last_air_renewal_on", "last whole air renewal before the window, if known"),
        _DUTY[6],
        code("meter_unit", UNITS, "what its meter counts; one cycle is two strokes"),
        number("cycles_per_h", "cycles in one running hour; joins hour meters and counters"),
        *_DUTY[2:6],
        number("new_cost", "price of a new pump"),
        number("new_lead_time_days", "days from order to receipt of a new pump"),
        *(
            number(name, "the maker's or legal limit [usage units]", unreadable="withhold")
            for name in ("max_fluid_interval", "max_air_interval")
        ),
        *_DUTY[7:],
    ),
)

_REBUILDS = Table(
    name="rebuilds",
    meaning="one row per order, pump and kit",
    key=("rebuild_id", "pump_id", "kit"),
    required=True,
    columns=(
        text("rebuild_id", "the order's number", required=True),
        text("pump_id", "the pump", required=True, instead="location"),
        text("location", "or the place, when the pump isn't written"),
        date("opened_on", "when the order was opened", required=True, instead="closed_on"),
        code(
            "reason",
            "breakdown planned inspection stoppage modification",
            "why the pump was opened",
            required=True,
            lenient=True,
        ),
        date("happened_on", "day of the failure; blank = opened_on"),
        date("closed_on", "when the order was closed"),
        text("kit", "the kit that was fitted; none = no kit, blank = not written"),
        text("failed_part", "the part blamed; none = no part failed, blank = not written"),
        text("failure_mode", "how it failed, in the plant's words"),
        number("meter", "what the meter showed [its own unit]"),
        number("labour_h", "hours worked"),
        number("downtime_h", "hours out of use"),
        number("waited_h", "part of downtime_h spent waiting for parts or a permit"),
        number("production_lost_h", "hours of lost production; 0 where a standby took over"),
        number("other_cost", "clean-up, waste, lost product [money]"),
        code("released", "none air_side outside", "where process fluid went"),
        text("lot", "batch or cure date on the bag"),
        text("crew", "the plant's own code"),
        text("completes", "the rebuild_id that this one finishes"),
        text("ticket_id", "the printed ticket it answers"),
        code("done", "yes partly no", "whether the work was done"),
        text("not_done_why", "why not"),
        text("note", "anything else"),
    ),
)

_FINDINGS = Table(
    name="findings",
    meaning="one row per part looked at during a rebuild",
    columns=(
        text("rebuild_id", "the order", required=True),
        text("pump_id", "the pump, where an order covers several"),
        text("part", "a part, all_fluid or all_air", required=True),
        code(
            "position",
            "suction_left suction_right discharge_left discharge_right left right single unknown",
            "which one; blank = every position of that part",
        ),
        number("count", "how many of n alike, instead of position"),
        code("found", "failed worn sound blocked not_checked", "its state", required=True),
        number("grade", "0 like new ... 4 failed"),
        text("mode", "how it failed or wore"),
        code("action", "renewed kept cleaned turned", "what was done with it", required=True),
        text("material", "of the new part"),
        text("variant", "of the new part"),
        text("part_no", "of the new part"),
    ),
)

_ISSUED = Table(
    name="issued",
    meaning="one row per issue from a store",
    columns=(
        date("issued_on", "day of issue", required=True),
        text("item", "kit or part_no", required=True),
        number("quantity", "pieces; below zero = returned", required=True, signed=True),
        text("rebuild_id", "for which order"),
        text("pump_id", "for which pump"),
        text("location", "or for which place"),
        text("store", "from which store"),
    ),
)

_READINGS = Table(
    name="readings",
    meaning="one row per meter reading",
    columns=(
        text("pump_id", "the pump", required=True, instead="location"),
        text("location", "or the place"),
        date("read_on", "day of reading", required=True),
        number("reading", "what the meter showed", required=True),
        number("new_meter_start", "the new meter's reading, when it was exchanged here"),
        text("meter_id", "the meter's own number"),
        code("unit", UNITS, "what it counts; blank = the pump's meter_unit"),
        number("digits", "digits before it starts again from 0"),
        number("multiplier", "units per count; blank = 1"),
    ),
)

_PARTS = Table(
    name="parts",
    meaning="one row per part number",
    key=("part_no", "valid_from"),
    columns=(
        text("part_no", "the part's number", required=True),
        text("part", "diaphragm, ball, seat, air valve ...", required=True),
        code("side", SIDES, "fluid or air", required=True),
        code("wears", "yes on_condition every_opening no", "only yes becomes a life"),
        yes_no("releases_fluid", "whether its failure lets process fluid out; diaphragm = yes"),
        text("material", "elastomer by its ISO or ASTM code, or the metal"),
        text("variant", "the plant's label for construction, compound or source"),
        number("size_mm", "nominal port size [mm]; blank = every size"),
        number("per_pump", "how many a pump holds", required=True),
        number("unit_cost", "price of one [money]", required=True, lenient=True),
        *_LEAD,
        number(
            "shelf_life_years",
            "years it may lie in the store from its cure date [years]; blank = by its material",
        ),
    ),
)

_KITS = Table(
    name="kits",
    meaning="one row per rebuild kit",
    key=("kit", "valid_from"),
    columns=(
        text("kit", "the kit's number", required=True),
        code("side", SIDES, "fluid or air", required=True),
        number("size_mm", "nominal port size [mm]"),
        text("material", "its elastomer"),
        text("variant", "the plant's label for construction, compound or source"),
        number("unit_cost", "price of one [money]", required=True, lenient=True),
        *_LEAD,
    ),
)

_KIT_CONTENTS = Table(
    name="kit_contents",
    meaning="one row per part number in a kit",
    key=("kit", "part_no"),
    columns=(
        text("kit", "the kit", required=True),
        text("part_no", "a part in it", required=True),
        number("quantity", "pieces", required=True),
    ),
)

_ON_HAND = Table(
    name="on_hand",
    meaning="one row per store, item and cure date",
    key=("store", "item", "cure_date"),
    columns=(
        text("store", required=True),
        text("item", "kit or part_no", required=True),
        number("quantity", "pieces on the shelf", required=True),
        date("cure_date", "cure date of the elastomer on the bag"),
    ),
)

_ON_ORDER = Table(
    name="on_order",
    meaning="one row per order under way",
    columns=(
        text("store", required=True),
        text("item", "kit or part_no", required=True),
        number("quantity", "pieces", required=True),
        date("expected_on", "day of receipt", required=True),
    ),
)

_MOVES = Table(
    name="moves",
    meaning="one row per change of a pump's duty; blank cells stay as they were",
    key=("pump_id", "moved_on"),
    columns=(
        text("pump_id", required=True),
        date("moved_on", "first day of the new duty", required=True),
        text("site"),
        text("service"),
        text("location"),
        code("state", "in_service in_store", "in_store = out of use on a shelf"),
        *_DUTY,
    ),
)

_COMPATIBILITY = Table(
    name="compatibility",
    meaning="one row per material that someone confirmed for a service",
    columns=(
        text("material", required=True),
        text("service", required=True),
        text("part"),
        text("confirmed_by", required=True),
        date("confirmed_on", required=True),
        date("valid_until", "after it the material is unconfirmed"),
        number("max_temperature", "[°C]", signed=True),
        text("cleaning"),
        text("reference"),
    ),
)

_ADOPTED = Table(
    name="adopted",
    meaning="one row per interval that the plant follows",
    key=("service", "size_mm", "side", "kit", "hazard"),
    columns=(
        text("service", required=True),
        number("size_mm"),
        code("side", SIDES, required=True),
        text("kit"),
        _HAZARD,
        number(
            "interval",
            "[usage units]; blank = run to failure",
            required=True,
            lenient=True,
            unreadable="aside",
        ),
        text("decided_by", required=True),
        date("decided_on", required=True),
        date("review_on"),
        text("why"),
    ),
)

_PLAN = Table(
    name="plan",
    meaning="one row per change of use that is coming",
    columns=(
        text("service", "a whole service"),
        text("pump_id", "or one pump"),
        date("from_on", required=True),
        date("to_on"),
        number("use_factor", "1 = as now, 0.5 = half", required=True),
    ),
)

_EVENTS = Table(
    name="events",
    meaning="one row per dated fact that hit many pumps",
    columns=(
        date("happened_on", required=True),
        date("until"),
        text("site"),
        text("service"),
        text("what", required=True),
        code("kind", "shock lasting"),
    ),
)

_SPEND = Table(
    name="spend",
    meaning="one row per month, site and kind of spending that was booked",
    columns=(
        date("month", "any day of it", required=True),
        text("site", "needed where there are several"),
        text(
            "quantity",
            "money (all that is paid), kits (money for kits and parts), labour_h or downtime_h",
            required=True,
        ),
        number("amount", "money, or hours for labour_h and downtime_h", required=True, signed=True),
    ),
)

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        _PUMPS,
        _REBUILDS,
        _FINDINGS,
        RETURNED,
        _ISSUED,
        _READINGS,
        _PARTS,
        _KITS,
        _KIT_CONTENTS,
        _ON_HAND,
        _ON_ORDER,
        _MOVES,
        _COMPATIBILITY,
        _ADOPTED,
        _PLAN,
        _EVENTS,
        _SPEND,
        TRIALS,
        TRIAL_PUMPS,
        DECISIONS,
    )
}
"""Every table of the plant folder by name."""
