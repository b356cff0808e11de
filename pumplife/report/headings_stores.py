"""What the columns on pooling, levels, the frontier and spare pumps are called."""

from pumplife.report.headings import Heading

_UNKNOWN = "not known"

OF_STORES: dict[tuple[str, str], Heading] = {
    ("stock", "surplus_value"): Heading("Value of the surplus", "money"),
    ("stock", "lead_time_worth"): Heading("Ten days less lead time saves a year", "money"),
    ("pumps", "replace_why"): Heading("Why rebuild or replace"),
    ("transfers", "from_store"): Heading("From"),
    ("transfers", "to_store"): Heading("To"),
    ("transfers", "there_on"): Heading("There on", "date"),
    ("transfers", "transfer_cost"): Heading("Cost of moving", "money"),
    ("transfers", "order_avoided"): Heading("Not ordered now", "money"),
    ("transfers", "lies_years"): Heading("Would lie unused [years]", "number", "for good"),
    ("transfers", "keeping_avoided"): Heading("Keeping it would cost", "money"),
    ("pooling", "kind"): Heading("Kind", "code"),
    ("pooling", "stores"): Heading("Stores"),
    ("pooling", "apart_pieces"): Heading("Up to, apart", "count"),
    ("pooling", "apart_capital"): Heading("Cash tied up, apart", "money"),
    ("pooling", "apart_cost"): Heading("Cost a year, apart", "money"),
    ("pooling", "apart_waiting"): Heading("Pump days waiting a year, apart", "days"),
    ("pooling", "pooled_pieces"): Heading("Up to, one shelf", "count"),
    ("pooling", "pooled_capital"): Heading("Cash tied up, one shelf", "money"),
    ("pooling", "pooled_cost"): Heading("Cost a year, one shelf, before transfers", "money"),
    ("pooling", "pooled_fill"): Heading("Met from the shelf, one shelf", "share"),
    ("pooling", "saving_before_transfers"): Heading(
        "One shelf saves a year, before transfers", "money"
    ),
    ("pooling", "transfers_per_year"): Heading("Pieces moved a year", "number", _UNKNOWN),
    ("pooling", "pooled_transfer_cost"): Heading(
        "Moving and waiting for it a year, one shelf", "money", _UNKNOWN
    ),
    ("pooling", "pooled_waiting"): Heading("Pump days waiting a year, one shelf", "days", _UNKNOWN),
    ("pooling", "local_pieces"): Heading("Up to, one piece in each store", "count"),
    ("pooling", "local_capital"): Heading("Cash tied up, one piece in each store", "money"),
    ("pooling", "local_cost"): Heading(
        "Cost a year, one piece in each store, before transfers", "money"
    ),
    ("pooling", "local_transfer_cost"): Heading(
        "Moving and waiting for it a year, one piece in each store", "money", _UNKNOWN
    ),
    ("pooling", "local_waiting"): Heading(
        "Pump days waiting a year, one piece in each store", "days", _UNKNOWN
    ),
    ("pooling", "advice"): Heading("Advice", "code", "no advice"),
    ("pooling", "saving_per_year"): Heading("Saving a year after transfers", "money", _UNKNOWN),
    ("pooling", "capital_freed"): Heading("Cash freed", "money", _UNKNOWN),
    ("pooling", "holds"): Heading("Who holds how many", "text", ""),
    ("stock_levels", "kind"): Heading("Kind", "code"),
    ("stock_levels", "shortage_cost"): Heading("Waiting and rush orders a year", "money"),
    ("stock_levels", "mark"): Heading("Mark", "text", ""),
    ("stock_frontier", "point"): Heading("Point", "code"),
    ("stock_frontier", "pieces"): Heading("Pieces on the shelf", "number"),
    ("stock_frontier", "store"): Heading("Store of the piece added", "text", ""),
    ("stock_frontier", "item"): Heading("Piece added", "text", ""),
    ("rotables", "size_mm"): Heading("Size [mm]", "number", _UNKNOWN),
    ("rotables", "materials"): Heading("Wetted materials"),
    ("rotables", "services"): Heading("Services"),
    ("rotables", "removals_per_year"): Heading("Taken out a year", "number"),
    ("rotables", "turnaround_days"): Heading("Turnaround", "days", _UNKNOWN),
    ("rotables", "turnaround_source"): Heading("Turnaround from"),
    ("rotables", "kit_waiting_days"): Heading("Of it waiting for parts", "days", _UNKNOWN),
    ("rotables", "spares_today"): Heading("Spares in store", "count"),
    ("rotables", "spares_90"): Heading("Spares for 90 %", "count", _UNKNOWN),
    ("rotables", "spares_95"): Heading("Spares for 95 %", "count", _UNKNOWN),
    ("rotables", "spares_99"): Heading("Spares for 99 %", "count", _UNKNOWN),
    ("rotables", "spares_95_no_waiting"): Heading(
        "Spares for 95 % without waiting for parts", "count", _UNKNOWN
    ),
    ("rotables", "spares_advised"): Heading("Spares advised", "count", _UNKNOWN),
    ("rotables", "buy"): Heading("To buy", "count", _UNKNOWN),
    ("rotables", "waiting_today"): Heading("Days without a pump a year, today", "days", _UNKNOWN),
    ("rotables", "waiting_advised"): Heading(
        "Days without a pump a year, advised", "days", _UNKNOWN
    ),
    ("rotables", "new_cost"): Heading("Price of a new pump", "money", _UNKNOWN),
    ("rotables", "one_more_costs"): Heading("One more costs a year", "money", _UNKNOWN),
    ("rotables", "one_more_saves"): Heading("One more saves a year", "money", _UNKNOWN),
    ("rotables", "same_as_days"): Heading("As good: turnaround shorter by", "days", _UNKNOWN),
}
