"""The program's own log goes to what standard error is now, not to what it was at the start."""

from __future__ import annotations

import io
import json
import logging
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


def test_as_json_every_line_is_an_object_also_a_librarys_and_a_fault(
    capfd: pytest.CaptureFixture[str],
) -> None:
    root = logging.getLogger()
    before = root.handlers[:]
    try:
        set_up(as_json=True)
        structlog.get_logger().info("line_stopped", line="pilot")
        logging.getLogger("some.library").warning("the %s is away", "server")
        try:
            raise ValueError("broken")
        except ValueError:
            structlog.get_logger().exception("source_failed")
    finally:
        root.handlers[:] = before
        structlog.reset_defaults()
    ours, theirs, fault = (json.loads(line) for line in capfd.readouterr().err.splitlines())
    assert (ours["event"], ours["line"], ours["level"]) == ("line_stopped", "pilot", "info")
    assert (theirs["event"], theirs["logger"], theirs["level"]) == (
        "the server is away",
        "some.library",
        "warning",
    )
    assert fault["exception"][0]["exc_value"] == "broken"
    assert all(one["timestamp"].endswith("Z") for one in (ours, theirs, fault))


@pytest.mark.parametrize("as_json", [False, True])
def test_a_traceback_does_not_show_what_variables_held(
    as_json: bool, capfd: pytest.CaptureFixture[str]
) -> None:
    root = logging.getLogger()
    before = root.handlers[:]
    secret = "correct horse"

    def log_in(password: str) -> None:
        raise ValueError(f"{len(password)} letters")

    try:
        set_up(as_json=as_json)
        try:
            log_in(secret)
        except ValueError:
            structlog.get_logger().exception("login_failed")
    finally:
        root.handlers[:] = before
        structlog.reset_defaults()
    told = capfd.readouterr().err
    assert "13 letters" in told and "log_in" in told
    assert secret not in told
