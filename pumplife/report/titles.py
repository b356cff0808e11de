"""What every table is called in front of people, and what it says."""

TABLES: dict[str, tuple[str, str]] = {
    "intervals": (
        "Rebuild intervals",
        "One row per pump group and side: when to rebuild, what it saves, and how sure that is.",
    ),
    "policies": (
        "Ways of working compared",
        "One row per pump group, side and way of working, each at its best setting within the "
        "limits, with the same lives, costs and draws as the advice. Bands are 90 %. The next "
        "three years start from today's ages; ways dearer than 1.5 times the advice in the long "
        "run are not followed there. Availability is one less downtime over all hours of a year.",
    ),
    "due": (
        "Rebuilds due",
        "One row per pump and side. Dearest to wait for first: the chance of failure in 13 weeks "
        "times what a breakdown costs more than a planned rebuild. Due on is when the side reaches "
        "its interval, the end of the records where it has; do on is when the kit is there, the "
        "bench has room, or an outage makes it cheaper. Where no interval is advised, the nearer "
        "of the adopted interval and the pump's own limit stands in, and no chance is known.",
    ),
    "ticket_answers": (
        "Tickets that came back",
        "One row per filled ticket in the plant folder: whether it was used, or the one question "
        "that it leaves, and what it adds to the lives of parts.",
    ),
    "load": (
        "Work on the bench",
        "Hours of planned work per week and site, beside the hours that breakdowns are expected to "
        "take and the hours that the bench has. Work done at outages is in the outage list.",
    ),
    "outage": (
        "Work for an outage",
        "What to rebuild at each coming outage, by what it saves against the side's own day or the "
        "next outage (production stands anyhow, so that planned downtime costs nothing), and what "
        "is due about then and left, with the reason.",
    ),
    "few_intervals": (
        "Few intervals for the whole plant",
        "The one, two, ... round intervals that cost least over all groups of both sides. Every "
        "group keeps its limits; running to failure is allowed beside them. Taken is the least "
        "number that costs at most 2 % more than each group's own interval.",
    ),
    "orders": ("Orders to place", "What to order now, and by when."),
    "stock": (
        "Kits and parts to keep",
        "Reorder point and order-up-to level per item and store, and the risk that is left. Met "
        "from the shelf is the share of breakdowns that find a piece; the share of order cycles in "
        "which nothing waits is another measure, and either may be the higher. The "
        "chance of shortage today is that today's shelf runs out before an order placed now "
        "arrives.",
    ),
    "shelf": (
        "Stock by cure date",
        "What has expired, will expire before it is used, or bears no cure date, and what to do. "
        "Storage lives are the plant's own, else those of ISO 2230:2002 as public summaries give "
        "them: check against your edition. A kit expires with its shortest-lived part; what "
        "expires first is taken first; the day of fitting counts. Expired stock is in no other "
        "figure of stock.",
    ),
    "demand_check": (
        "Does the model cover last year",
        "What breakdowns of the last twelve months took, beside what the lives expect of the same "
        "pumps and months; from 0.8 to 1.25 the model covers it. What openings take beside the kit "
        "is held against issues instead. Issues hold planned work too; smoothed are sizes and gaps "
        "of months with issues, the newest weighing more.",
    ),
    "coverage": (
        "What kits cover, and what they don't",
        "Pieces of each part a year under what is followed: what goes into the pumps, what kits "
        "bring of it, what has to lie there loose, and what is left of kits. Fitted and left of "
        "kits add up to out of kits and loose.",
    ),
    "on_condition": (
        "Parts renewed on condition",
        "How often an opening took one, counted on openings of which it would be known, with 90 % "
        "bounds. Issues and findings tell it; the note says which openings count.",
    ),
    "kit_or_parts": (
        "Kits, loose parts or both",
        "What each way of supplying a kit's work costs a year: buying, keeping, waiting pumps, and "
        "the work with what failures bring. Means of the next three years. Advised is the cheapest "
        "of those that renew what the rebuild advice renews.",
    ),
    "transfers": (
        "Surplus to move instead of ordering",
        "Pieces that lie in one store above its level while another store would order the same "
        "item. Moving one saves keeping it until it would be used, its price at the most; shown "
        "where that is more than the transfer costs. The orders are what is still to be bought.",
    ),
    "pooling": (
        "One shelf for several stores",
        "Items that several stores keep: a shelf in each, one shelf at the store that is cheapest "
        "to send from, or that shelf with one piece lying in each store. Demand of all stores is "
        "added future by future. Moving counts the transfer and the pump that waits for it; "
        "planned jobs are ordered to their own store.",
    ),
    "stock_levels": (
        "What every level holds, risks and costs",
        "Item by item: cash tied up, chance of shortage, pump days waiting and cost of each "
        "reorder point; today is the one nearest to what lies and comes.",
    ),
    "stock_frontier": (
        "What money on the shelf buys",
        "The least waiting of pumps that each sum on the shelf allows, all items together, with "
        "the advised shelf and today's as if it were always kept so.",
    ),
    "rotables": (
        "Spare pumps",
        "Pumps of one size and wetted materials stand in for each other. Spares for 90 % let 90 % "
        "of the pumps that are taken out find one at once, openings and doubt as simulated.",
    ),
    "budget": (
        "Budget",
        "The part of a year up to the next financial year first, then whole ones; where the plant "
        "gives none, 12 months from the end of the records. P80 is a sum that 80 of 100 simulated "
        "years stay under. Rows for all sites are simulated sums, not sums of percentiles. "
        "Money charges kits when they are fitted; write-offs of today's stock stand apart from it, "
        "at what the pieces cost. Backlog: sides past their interval today, renewed once. Stock "
        "change: the shelf built up to its levels, or run down, of what has a price; it is not in "
        "the money.",
    ),
    "bridge": (
        "From last year to next",
        "What moves the money from the last twelve months to the first whole year, one input "
        "changed at a time in the order of the rows; the changes add up exactly.",
    ),
    "cash": (
        "Cash calendar",
        "Kits and loose parts by the month in which they are ordered: what is to be ordered now, "
        "planned jobs a lead time ahead, and what breakdowns take, bought again once surplus is "
        "used up.",
    ),
    "booked": (
        "What was booked, beside tickets and model",
        "The same months on all three sides. Expected: failures that the lives account for at "
        "their mean cost, and the planned work that was done; money is what is paid, without lost "
        "production.",
    ),
    "budget_services": (
        "The first whole year by service and pump",
        "Means of kits and breakdowns, mean and P80 of money, as the plant follows it. Means add "
        "up, P80s don't.",
    ),
    "budget_pumps": (
        "The first whole year pump by pump",
        "Dearest first; means of kits and breakdowns, mean and P80 of money.",
    ),
    "costs": (
        "What a rebuild costs",
        "Every figure behind the intervals, with its source, beside what tickets say: their 10 and "
        "90 % points, and a word where they differ from it by more than a third.",
    ),
    "fits": (
        "Lives of parts",
        "Weibull fits with 90 % bands. Suspensions are parts that had not failed when they were "
        "renewed or when the records end.",
    ),
    "duty_effects": (
        "What stretches or shortens a life",
        "Ratio of lives per service, material, size and duty, each with the others held equal, by "
        "one regression per part, with 90 % bounds that know which lives share a pump.",
    ),
    "lives": ("Part lives", "One row per part installed, as the fits use it."),
    "audit": (
        "What the records left open",
        "Every row that was set aside, assumed or worth a look, with its remedy.",
    ),
    "questions": (
        "Questions that only you can settle",
        "Dearest first. Write the answer into decisions.csv in the plant folder; it is applied on "
        "every run and your other files stay as they are.",
    ),
    "account": (
        "What became of every record",
        "Every ticket row, every finding and every stretch of a part position is used, used with "
        "an assumption, or set aside with the reason; the numbers add up to what was received.",
    ),
    "sensitivity": (
        "What if the records are read otherwise",
        "Lives, fits and intervals once more with one thing changed. Scale and shape as ratios of "
        "maximum likelihood estimates; the draws of the study, fewer of them, moved by these "
        "ratios give interval and saving, so that rows compare with each other, not with the "
        "intervals to the last digit.",
    ),
    "tornado": (
        "How the advice moves with each input",
        "One input at a time at a low and a high plausible value, the advice worked out anew: "
        "prices, rates and hours 25 % off, the cost of an hour of downtime halved and doubled, "
        "chances of faults none and doubled, lives at their 90 % bounds. Inputs that move next "
        "to nothing are left out.",
    ),
    "kpi": (
        "Measures by month",
        "By month and site (all = the whole plant), each with its definition and the base it is "
        "counted on; where the base is under 5, the count stands in place of a rate or share.",
    ),
    "materials": (
        "Elastomers side by side",
        "Lives of each material over those of the most used one, within like service, size and "
        "duty, with 90 % bounds that know which lives share a pump; cost at each one's own best "
        "interval, the other parts as most used. A ratio is no statement on chemical "
        "compatibility: nothing is advised that the plant hasn't confirmed.",
    ),
    "material_exposure": (
        "Who used which material",
        "Pumps, usage, failures and dates of each material by service and size.",
    ),
    "material_costs": (
        "Make-ups of a kit priced",
        "Each part in another material, and the kits in use, each at its own best interval.",
    ),
    "trials": (
        "Trials under way",
        "Each is judged at its own looks alone, after equal shares of the failures that it needs, "
        "by bounds that keep the risk of a false alarm however often a study is run. Futile: the "
        "ratio that would pay would hardly be shown any more. The 90 % bounds are of today's "
        "lives and decide nothing.",
    ),
    "trial_looks": (
        "Looks at trials",
        "What each look so far found, and the score from which the longer life is shown.",
    ),
    "trial_plans": (
        "Trials worth making",
        "For pairs that the records can't tell apart: the trial that is expected to leave most, or "
        "why none pays. Costs are the dearer parts and failures meanwhile and [trials] setup; "
        "savings are counted over [trials] years. Only confirmed materials are proposed.",
    ),
    "trial_power": (
        "Chance to show a ratio",
        "By pumps with each material, at the usage of the proposed trial (of the longest allowed "
        "where none pays); approximate, through the proposed trial's own.",
    ),
    "pumps": (
        "Pumps among their peers",
        "Failures of each pump's parts over those that its peers lead one to expect; the ratio is "
        "drawn towards 1 by how little pumps differ as a rule. Stands out: fewer than 1 plant of "
        "20 with equal pumps has any such. Watch: 1 equal pump in 40 gets there by chance.",
    ),
    "likeness": (
        "Are lives that are fitted together alike",
        "Positions, pumps, years, lots, crews, dated events and causes, each asked of every group "
        "with failures enough; lives of one pump count as one witness, and the chance allows for "
        "the number of comparisons. A ratio is of lives.",
    ),
    "shocks": (
        "Failures at shocks",
        "Breakdowns on the days of a dated shock: left out of the wear, still demand on the store.",
    ),
    "rewind": ("Advice looked back on", "Advice from earlier records against what happened."),
    "changes": (
        "What changed since the last study",
        "Each answer that changed, with the share of each cause: version, records, plan, prices, "
        "settings, swapped in this order. Shares add up to 100 %; causes that work against each "
        "other have shares below 0 and over 100 %. Of words and dates that came or went, the "
        "causes have equal shares.",
    ),
}
"""Title and one sentence of explanation per output table, in the order of reading."""
