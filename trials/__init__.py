"""A trial from its first minute to its report: the record on disk, and what its samples and journal tell."""
