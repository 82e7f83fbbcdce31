"""A simulated recycling line: plant model, faults, scenarios, and the ways it is played and served."""
