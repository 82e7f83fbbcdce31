"""A Sparkplug B 3.0 host application without its network: payloads, births, aliases, sequences, deaths."""
