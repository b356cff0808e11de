"""An invented plant: hidden truth, a fleet that runs and fails by it, and what people write down.

`truth` and `fleet` say what is so, `running` lets the pumps run, `meters`, `tickets` and `stores`
write the records, `looked_at` what openings took beside their kits, `spoil` spoils records as real
ones are spoilt, `settings` writes plant.toml.
"""
