"""What all rules see: a line's signals on one grid, and what the line is doing meanwhile."""
