"""Are lives that are fitted together alike: positions, pumps, lots, crews, dates, causes."""
