"""The tables of what the bench sends back and tries: filled tickets, trials of materials."""

from pumplife.records.schema import Table, code, date, number, text

RETURNED = Table(
    name="returned",
    meaning="one row per position of a rebuild ticket that came back filled in",
    by_hand=True,
    columns=(
        text("ticket_id", "the number printed on the ticket", required=True),
        text("pump_id", "the pump", required=True),
        date("done_on", "day of the work; blank = not filled in yet"),
        code("reason", "breakdown planned inspection", "why the pump was opened"),
        code("done", "yes partly no", "whether the work was done"),
        text("not_done_why", "why not"),
        text("kit", "the kit that was fitted; none = no kit"),
        text("lot", "cure date on the bag"),
        number("meter", "what the meter showed [its own unit]"),
        number("labour_h", "hours worked"),
        number("downtime_h", "hours out of use"),
        number("waited_h", "part of downtime_h spent waiting for parts or a permit"),
        code("released", "none air_side outside", "where process fluid went"),
        text("crew", "the plant's own code"),
        text("note", "anything else"),
        text("part", "the part of this row; blank = the row tells of the order only"),
        code(
            "position",
            "suction_left suction_right discharge_left discharge_right left right single unknown",
            "which one; blank = every position of that part",
        ),
        code("action", "renewed kept cleaned turned", "blank = not looked at"),
        number("grade", "0 like new, 1 good, 2 used, 3 worn, 4 failed; blank = not graded"),
        text("saved_at", "when the form was saved; of two copies the later counts"),
    ),
)

TRIALS = Table(
    name="trials",
    meaning="one row per trial of a material",
    key=("trial_id",),
    columns=(
        text("trial_id", required=True),
        text("part", required=True),
        text("material", required=True),
        text("variant"),
        text("reference", "the material it is compared with", required=True),
        text("service", required=True),
        date("started_on", required=True),
        date("ends_on"),
        number("wanted_ratio", "the life ratio that would pay"),
        number("looks", "how often the result is looked at"),
        text("endpoint"),
    ),
)

TRIAL_PUMPS = Table(
    name="trial_pumps",
    meaning="one row per pump in a trial",
    key=("trial_id", "pump_id"),
    columns=(
        text("trial_id", required=True),
        text("pump_id", required=True),
        text("arm", "the material, or both (balls and seats only)", required=True),
        text("pair", "any name, the same for like pumps of which each carries one material"),
    ),
)
