"""The list of every check that can write a row of the audit, in words."""

from pumplife.lives.open_points import QUESTIONS
from pumplife.lives.rules.book import HISTORY_RULES
from pumplife.lives.rules.rule import Rule
from pumplife.records.audit import SEVERITIES

STOPS = "The study can't go on."
ASIDE = "The row is set aside."
BLANK = "The cell counts as not written."
NO_EFFECT = "It has no effect."
STANDS = "The row is used as it is written."
NOTHING = "None needed."

_WHOLE = (
    # name | severity | looks for | does | remedy
    ("missing_table", "stop", "A table without which there is no study.", STOPS, "Add it."),
    ("empty_file", "stop", "A needed table without rows.", STOPS, "Fill it or export it again."),
    ("unreadable_file", "stop", "A file that can't be opened.", STOPS, "Mend it or take it out."),
    ("missing_column", "stop", "A needed column that isn't there.", STOPS, "Map or add it."),
    ("date_order", "stop", "Dates that can be read day or month first.", STOPS,
     "Write [dates] order in plant.toml."),
    ("records_to", "stop", "A plant.toml without records_to.", STOPS, "Write [plant] records_to."),
    ("no_pump", "stop", "Every row of pumps set aside.", STOPS, "See the commonest reason."),
    ("no_ticket", "stop", "Every row of rebuilds set aside.", STOPS, "See the commonest reason."),
    ("no_lives", "stop", "Records from which no life of a part can be built.",
     "Nothing can be fitted.", "See the cautions: usage, kits or dates are missing."),
    ("no_prices", "stop", "Missing [costs] or kit prices.",
     "Intervals, stock and budget are withheld.", "Fill in [costs] and kits.unit_cost."),
    ("no_limit", "stop", "A limit in pumps that can't be read.",
     "Intervals, stock and budget are withheld.", "Correct the limit in pumps."),
    ("unreadable_limit", "stop", "The cell of a maker's or legal limit that can't be read.",
     "No interval is given that might go beyond it.", "Correct the cell; blank = no limit."),
    ("most_tickets_aside", "caution", "More than half of the tickets set aside.",
     "The study rests on the rows that are left.", "See the commonest reason."),
    ("records_from", "caution", "A plant.toml without records_from.",
     "The earliest record stands in.", "Write [plant] records_from."),
    ("usage_unit", "caution", "A plant.toml without usage_unit.",
     "Usage is taken to be in running hours.", "Write [plant] usage_unit."),
    ("unknown_setting", "caution", "A line of plant.toml that isn't known.", NO_EFFECT,
     "Correct the name."),
    ("default_target", "note", "A target that plant.toml doesn't give.",
     "The usual one stands in.", "Write it under [targets]."),
    ("unknown_file", "note", "A file or sheet that is no table.", "It isn't read.",
     "Name it in [files] if it is one."),
    ("hidden_sheet", "note", "A hidden sheet of a workbook.", "It isn't read.",
     "Name it in [files] if it is a table."),
    ("two_tables", "stop", "Two sheets that may be the same table.", STOPS,
     "Say in [files] which one it is, or list both."),
    ("two_files", "caution", "Two files for one table.", "The first is read.", "Remove one."),
    ("source", "note", "Which file each table was read from.", "The file is read.", NOTHING),
)  # fmt: skip

_CELLS = (
    ("encoding", "note", "A file that isn't UTF-8.", "Read in the western code page.",
     "Export it again if letters look wrong."),
    ("text_column", "caution", "A column named in [text] that the file lacks.",
     "No text is read.", "Correct the heading in [text]."),
    ("read_from_text", "caution", "A part or reason read from free text, as [text] asks.",
     "Used with an assumption.", "Write it in the source, or correct words.csv."),
    ("text_of_several", "note", "A text that names several parts.", "Nothing is read from it.",
     "Write failed_part where one part failed."),
    ("own_words", "note", "Words of the plant's own in words.csv.",
     "They come before the words that pumplife has.", NOTHING),
    ("overlong_row", "caution", "A row with more cells than the heading.", ASIDE,
     'Put "quotation marks" around the cell.'),
    ("extra_columns", "note", "Columns of the plant's own.", "They are kept and not used.",
     "Map them in [columns] if one is ours."),
    ("two_columns", "caution", "One heading twice.", "The first is read.", "Remove one."),
    ("decimal_mark", "caution", "Numbers whose decimal mark can't be told.",
     "The likelier mark is taken.", "Write [numbers] decimal."),
    ("serial_dates", "note", "Dates as a spreadsheet's day numbers.",
     "Read as days since 1899-12-30.", "Export the column as dates if that is wrong."),
    ("blank_cell", "caution", "A needed cell that is blank.", ASIDE, "Fill the cell."),
    ("unreadable_date", "caution", "A cell that isn't a date.", BLANK, "Correct the cell."),
    ("unreadable_number", "caution", "A cell that isn't a number.", BLANK, "Correct the cell."),
    ("unreadable_code", "caution", "A word that isn't one of the column's codes.", BLANK,
     "Say in [codes] what it means."),
    ("unreadable_yes_no", "caution", "A cell that is neither yes nor no.", BLANK,
     "Correct the cell."),
    ("spelling", "note", "A name written in two ways.", "One way is taken.", "Write it one way."),
    ("repeated_row", "caution", "A row or key that stands twice.", "The first row is used.",
     "Remove one, or give it a key of its own."),
    ("older_price", "note", "A price row with a later one.", "The later price counts.", NOTHING),
    ("no_price", "caution", "A kit or part without unit_cost.", "What needs it stays blank.",
     "Write its price."),
)  # fmt: skip

_LINKS = (
    ("unknown_pump", "caution", "A row of a pump that pumps doesn't list.", ASIDE,
     "Add the pump or correct the id."),
    ("unresolved_location", "caution", "A row with a place only, where no pump or several stood.",
     ASIDE, "Write the pump_id or the move, or decide."),
    ("swap_day", "note", "A ticket or issue with a place only, where pumps were swapped that day.",
     "The work counts for the pump that left.", "Write the pump_id if it was for the other one."),
    ("location_differs", "caution", "A row whose place belonged to another pump that day.",
     "The pump that is written is used.", "Correct the row or add the move."),
    ("unknown_order", "caution", "A finding, issue or completion of an order that isn't there.",
     "A finding is set aside; elsewhere the cell counts as not written.", "Add the order."),
    ("unknown_part", "caution", "A part that parts doesn't list.",
     "A finding is set aside; a failed_part counts as not written.", "Add it, or say in [codes]."),
    ("unknown_part_no", "caution", "A part_no of kit_contents that parts doesn't list.", ASIDE,
     "Add the part_no to parts."),
    ("unknown_kit", "caution", "A kit that isn't listed or holds nothing known.",
     "Fitting it renews nothing known.", "Add it to kits and kit_contents."),
    ("unknown_item", "caution", "A stock item that is neither kit nor part.",
     "Nothing is renewed with it, no level is advised.", "Add it to kits or parts."),
    ("kit_misfit", "caution", "A kit in pumps of the other side or another size.", STANDS,
     "Correct the kit in pumps or in kits."),
    ("kit_count", "caution", "A kit that holds fewer or more pieces than a pump.",
     "It renews the pieces that it holds, no more than the pump has.",
     "Correct quantity or per_pump."),
    ("kit_side_assumed", "caution", "A kit on orders that no table lists.",
     "Its side is taken from the parts blamed on its orders.", "Write the table kits."),
    ("assumed_parts", "caution", "No table parts.",
     "Two diaphragms, four balls, four seats and an air valve stand in.", "Add parts."),
    ("assumed_contents", "caution", "No table kit_contents.",
     "Each kit holds every part of its side, size and material.", "Add kit_contents."),
    ("superseded", "note", "Numbers that another has taken the place of.",
     "Old and new number count as one.", NOTHING),
    ("superseded_loop", "caution", "A chain of superseded_by that comes back to its start.",
     "Each number stands for itself.", "Correct superseded_by."),
    ("superseded_unknown", "caution", "A successor that isn't listed.",
     "The old number stands for itself.", "Add the new number."),
    ("superseded_unlike", "caution", "A successor of another side, size or material.",
     "Orders keep their number; stock counts for the new one.", "Correct the rows."),
    ("material_code", "caution", "A material that is no known code.",
     "It is compared under the plant's own label.", "Map it in [codes.parts.material]."),
    ("decision_applied", "note", "An answer of decisions.csv.", "It is applied.",
     "Delete the row to be asked again."),
    ("decision_bad", "caution", "An answer that isn't one of the question's.", NO_EFFECT,
     "Write one of those allowed, or skip."),
    ("decision_gone", "caution", "An answer to a question that is no longer asked.", NO_EFFECT,
     "Delete the row."),
)  # fmt: skip

_PUMPS = (
    ("retired_early", "caution", "A pump retired before it was commissioned.", "It never ran.",
     "Correct one of the dates."),
    ("no_rebuild", "note", "A pump without any order.",
     "Its parts run since their last known renewal.", "Check the export."),
    ("closed_early", "caution", "An order closed before it was opened.", STANDS,
     "Correct one of the dates."),
    ("happened_late", "caution", "A failure dated after its order was closed.", STANDS,
     "Correct one of the dates."),
    ("waited_long", "caution", "waited_h larger than downtime_h.", STANDS,
     "Correct one of the numbers."),
    ("before_window", "caution", "A ticket before the records begin.", ASIDE,
     "Move records_from if the records are complete from then."),
    ("after_window", "caution", "A ticket after the records end.", ASIDE,
     "Move records_to, or correct the date."),
    ("before_commissioning", "caution", "A ticket before the pump was commissioned.", ASIDE,
     "Correct one of the dates."),
    ("after_retirement", "caution", "A ticket after the pump was retired.", ASIDE,
     "Correct one of the dates."),
    ("no_readings", "caution", "No meter readings at all.", "use_per_week stands in.",
     "Add readings."),
    ("usage_unknown", "caution", "A pump with neither two readings nor use_per_week.",
     "The lives of its parts are set aside.", "Write use_per_week or add readings."),
    ("calendar_usage", "note", "Readings where usage is counted in days.", "They aren't used.",
     NOTHING),
    ("late_reading", "note", "Readings after the end of the records.", "They aren't used.",
     NOTHING),
    ("meter_unit", "caution", "Readings in another unit without cycles_per_h.",
     "They aren't used.", "Write cycles_per_h, or correct the unit."),
    ("two_meters", "note", "An hour meter and a counter side by side.",
     "The one in usage units is used.", NOTHING),
    ("meter_slip", "caution", "A reading that its neighbours contradict.",
     "The reading is set aside.", "Correct the reading."),
    ("unrecorded_exchange", "caution", "A meter that goes back, or is another one.",
     "The pump's own usual rate bridges the gap.", "Write new_meter_start, or decide."),
    ("impossible_rate", "caution", "A meter that gains more than the pump can run.",
     "The pump's own usual rate bridges the gap.", "Correct the reading."),
    ("rollover", "note", "A counter with known digits that started again from 0.",
     "The gain is joined over the rollover.", NOTHING),
    ("half_or_double", "note", "A counter at half or double use_per_week.",
     "It is used as its unit says.", "Strokes or cycles? Correct the unit."),
    ("first_kit_assumed", "note", "A pump whose first ticket has another kit than today.",
     "Until then it carried that ticket's kit.", NOTHING),
    ("account", "note", "The sums of the account: what became of every ticket, finding, position.",
     "The table account says of each which, and why.", NOTHING),
    ("turned_parts", "note", "Parts that were turned over.",
     "A turned part is new, or its age runs on, as [rules] turned says.", NOTHING),
)  # fmt: skip

_LATER = (
    ("event_kind", "caution", "A dated event that is neither shock nor lasting.", NO_EFFECT,
     "Write shock or lasting."),
    ("shock", "note", "A dated shock, and whether more pumps broke down in it than chance allows.",
     "Its failures are no wear, and count as demand.", "See that its date and scope are right."),
    ("shock_failure", "note", "A breakdown within the days of a shock.",
     "No part failed of wear there.", NOTHING),
    ("lives_changed", "caution", "A lasting event after which lives are longer or shorter.",
     "Today's fit rests on the lives since then.", "See that nothing else changed then."),
    ("unlike_positions", "caution", "Positions of one part that don't last alike.",
     "They are fitted together.", "Look for what differs there."),
    ("unlike_calendar_time", "caution", "Lives that grow longer or shorter over the years.",
     "The fit is a mean over the years.", "Look for what changed; write its date in events."),
    ("unlike_pumps", "caution", "Pumps of one group that don't fail alike.",
     "They share a fit.", "Look at the table of pumps."),
    ("unlike_lots", "caution", "A lot with more early failures than the others.",
     "Its lives stay in the fits.", "Look at the batch."),
    ("unlike_crews", "caution", "A crew code with more early failures than the others.",
     "Its lives stay in the fits.", "Look at the work instruction."),
    ("pump_stands_out", "caution", "A pump that fails far more often than its peers.",
     "Its lives stay in the fits.", "See look_at in the table of pumps."),
    ("changed_prior", "note", "A prior on shape that plant.toml changes.",
     "It weighs in fits with few failures.", NOTHING),
    ("unknown_prior", "caution", "A prior for a part without lives.", NO_EFFECT,
     "Correct the part's name."),
    ("changed_evidence", "note", "A rule on evidence that plant.toml changes.",
     "Fits are labelled and chosen by the plant's number.", NOTHING),
    ("second_opinion", "note", "A fit from which a general library differs by over 1 %.",
     "Our own fit is used.", "Look at the group's probability plot."),
    ("cost_missing", "caution", "A cost that [costs] doesn't give.", "It counts as 0.",
     "Write it under [costs]."),
    ("work_hours", "caution", "Hours that [work] doesn't give.",
     "The medians of the tickets stand in.", "Write them under [work]."),
    ("standby", "note", "Pumps with an installed standby.", "Their downtime costs nothing.",
     "Leave standby blank where production stops."),
    ("adopted_unmatched", "caution", "An adopted interval that fits no pump group.",
     "No pump follows it.", "Correct the row."),
    ("adopted_beyond_limit", "caution", "An adopted interval beyond a limit.",
     "The limit is followed.", "Adopt one within the limit."),
    ("no_interval", "caution", "A pump group that lacks what an interval needs.",
     "No interval is advised for it.", "Complete what the row names."),
    ("no_lead_time", "caution", "An item without lead time.", "No level is advised for it.",
     "Write lead_time_days."),
    ("no_demand", "caution", "Pumps whose demand isn't known.", "Levels are too low for them.",
     "Complete what the row names."),
    ("actual_hours", "note", "Tickets without hours in the last twelve months.",
     "The budget's actual rows leave them out.", "Write hours on every ticket."),
)  # fmt: skip


def list_rules() -> tuple[Rule, ...]:
    """Give every check, stops first, each with what it looks for, what follows and what to do.

    Returns
    -------
    tuple of Rule
        Those over histories carry their function, the others run where the records are read or
        used.
    """
    told = [
        Rule(name=name, severity=severity, looks_for=looks, does=does, remedy=remedy)
        for name, severity, looks, does, remedy in (*_WHOLE, *_CELLS, *_LINKS, *_PUMPS, *_LATER)
    ]
    asked = [
        Rule(name=name, severity="caution", looks_for=what, does=does, remedy=remedy)
        for name, (what, does, remedy) in QUESTIONS.items()
    ]
    every = (*told, *asked, *HISTORY_RULES)
    return tuple(sorted(every, key=lambda rule: SEVERITIES.index(rule.severity)))
