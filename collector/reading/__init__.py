"""From what a machine sends to the line's tags: names, units, analog channels, what is worth keeping."""
