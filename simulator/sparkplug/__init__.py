"""The simulated line as a Sparkplug B edge node: its metrics and messages, without any network."""
