"""What the trade knows of a recycling line, as pure functions and small state machines over numbers."""
