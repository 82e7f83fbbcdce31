"""Stored trials for a backtest: found, opened, and judged one beside the other."""
