"""The pages on which people read a line: the line now, and its trial as a ledger."""
