"""An invented plant: hidden truth, a fleet that runs and fails by it, and what people write down.

`truth` and `fleet` say what is so, `running` lets the pumps run, `meters`, `tickets` and `stores`
write the records, `spoil` spoils them as real ones are spoilt, `settings` writes plant.toml.
"""
