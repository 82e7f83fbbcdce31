"""The program's own log goes to what standard error is now, not to what it was at the start."""

from __future__ import annotations

import io
import sys

import pytest
import structlog

from meltledger.logs import set_up


def test_lines_go_to_the_present_standard_error(monkeypatch: pytest.MonkeyPatch) -> None:
    closed, present = io.StringIO(), io.StringIO()
    monkeypatch.setattr(sys, "stderr", closed)
    log = structlog.get_logger()
    set_up()
    log.info("before")
    monkeypatch.setattr(sys, "stderr", present)
    closed.close()
    log.info("after", n=1)
    assert "after" in present.getvalue()
    structlog.reset_defaults()
