"""How the program's own log reads: one line an event, to standard error, without secrets."""

from __future__ import annotations

import logging
import sys
from collections.abc import Sequence
from typing import Final

import structlog
from structlog.typing import Processor

_SHARED: Final[Sequence[Processor]] = (
    structlog.processors.add_log_level,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
)


def set_up(level: int = logging.INFO, *, as_json: bool = False) -> None:
    """Send structlog's lines to standard error and keep libraries quiet.

    Args:
        as_json: one JSON object a line, also for what libraries say, instead of text for a person.
    """
    # The usual renderings of a traceback show what the variables held, passwords among it.
    text = structlog.dev.ConsoleRenderer(
        colors=sys.stderr.isatty(), exception_formatter=structlog.dev.plain_traceback
    )
    ending: Sequence[Processor] = (text,)
    if as_json:
        tracebacks = structlog.tracebacks.ExceptionDictTransformer(show_locals=False)
        ending = (structlog.processors.ExceptionRenderer(tracebacks), structlog.processors.JSONRenderer())
    structlog.configure(
        processors=[*_SHARED, *ending],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        # Looked up at each line: whoever replaces standard error meanwhile gets the lines.
        logger_factory=lambda *_: structlog.PrintLogger(sys.stderr),
    )
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(logging.Formatter("%(levelname)s %(name)s %(message)s"))
    if as_json:
        foreign = [*_SHARED, structlog.stdlib.add_logger_name]
        handler.setFormatter(
            structlog.stdlib.ProcessorFormatter(
                foreign_pre_chain=foreign,
                processors=[structlog.stdlib.ProcessorFormatter.remove_processors_meta, *ending],
            )
        )
    logging.basicConfig(level=logging.WARNING, handlers=[handler], force=as_json)
