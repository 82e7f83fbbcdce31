"""How the program's own log reads: one line an event, to standard error, without secrets."""

from __future__ import annotations

import logging
import sys

import structlog


def set_up(level: int = logging.INFO) -> None:
    """Send structlog's lines to standard error and keep libraries quiet."""
    structlog.configure(
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty()),
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        # Looked up at each line: whoever replaces standard error meanwhile gets the lines.
        logger_factory=lambda *_: structlog.PrintLogger(sys.stderr),
    )
    logging.basicConfig(level=logging.WARNING, stream=sys.stderr, format="%(levelname)s %(name)s %(message)s")
