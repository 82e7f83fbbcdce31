"""Where samples are missing: marks in the store, and what a source's history fills again."""
