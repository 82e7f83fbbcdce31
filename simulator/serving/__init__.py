"""Serving a line second by second, whatever the protocol: feed, pace, ledger, troubles on demand."""
