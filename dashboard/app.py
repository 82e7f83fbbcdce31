"""The pages as a web application, and the server that gives them out."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable, Sequence
from typing import Any

import dash
from flask import Response, jsonify
from waitress.server import create_server

from dashboard.lines import Lines
from dashboard.now import FLOWING_NS
from dashboard.pages import doing, live, shell, trial
from dashboard.reads import LineReads
from dashboard.security import harden
from dashboard.wall import Wall
from historian.errors import MeltledgerError, OutsideWorldAway
from historian.frame import NS

Clock = Callable[[], int]
"""Gives UTC nanoseconds."""

MOST_REQUEST_BYTES = 1_000_000
THREADS = 8


def create_app(
    lines: Sequence[LineReads],
    *,
    clock: Clock = time.time_ns,
    wall_mm: tuple[float, float] | None = None,
) -> dash.Dash:
    """The pages of these lines. Nothing in the page itself holds data: callbacks bring it.

    Args:
        clock: gives UTC nanoseconds.
        wall_mm: visible width of the screen that the live page hangs on, and from where it is read.

    Raises:
        UnknownLine: no line, or two of one name.
        WrongInput: a wall that cannot be.
    """
    served = Lines(lines)
    app = dash.Dash(
        "dashboard",
        title="The line now",
        update_title="",
        use_pages=False,
        pages_folder="",
        serve_locally=True,
        suppress_callback_exceptions=True,
        enable_mcp=False,
        add_log_handler=False,
        index_string=_index(Wall(*wall_mm) if wall_mm else Wall()),
    )
    app.server.config["MAX_CONTENT_LENGTH"] = MOST_REQUEST_BYTES
    app.layout = shell.layout()
    _health(app, served, clock)
    shell.register(app, served)
    live.register(app, served, clock)
    doing.register(app, served, clock)
    trial.register(app, served, clock)
    harden(app)
    return app


def serve(app: dash.Dash, host: str, port: int) -> None:
    """Give the pages out until the process is told to stop.

    Raises:
        OutsideWorldAway: the address cannot be had, with the remedy.
    """
    # Bound here rather than by the server, which leaves its socket open when the address is taken.
    try:
        bound = socket.create_server((host, port), backlog=128)
    except (OSError, OverflowError) as error:
        raise OutsideWorldAway(
            f"the pages cannot be given out at {host}:{port} ({error}); is another program there? "
            "Choose another port"
        ) from error
    with bound:
        server = create_server(app.server, sockets=[bound], threads=THREADS, ident=None)
        try:
            server.run()
        finally:
            server.close()


def _index(wall: Wall) -> str:
    """The page's frame with the size of its digits, which follows from the screen and the distance."""
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
{{%metas%}}
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{%title%}}</title>
<link rel="icon" href="data:,">
{{%css%}}
<style>:root {{ --digit: max(44px, {wall.font_vw:.3f}vw); }}</style>
</head>
<body>
{{%app_entry%}}
<footer>{{%config%}}{{%scripts%}}{{%renderer%}}</footer>
</body>
</html>"""


def _health(app: dash.Dash, lines: Lines, clock: Clock) -> None:
    """``GET /healthz``: 200 once data flow on at least one line, 503 before; each line's state as JSON."""

    server: Any = app.server

    @server.get("/healthz")  # type: ignore[untyped-decorator]
    def _healthz() -> tuple[Response, int]:
        now_ns = clock()
        states = {line.name: _state(line, now_ns) for line in lines.all()}
        flows = any(state["flows"] for state in states.values())
        return jsonify({"flows": flows, "lines": states}), 200 if flows else 503


def _state(line: LineReads, now_ns: int) -> dict[str, Any]:
    try:
        newest_ns = line.newest_arrival_ns()
    except MeltledgerError as error:
        return {"flows": False, "newest_age_s": None, "text": str(error)}
    if not newest_ns:
        return {"flows": False, "newest_age_s": None, "text": "no data has arrived yet"}
    age_ns = now_ns - newest_ns
    flows = age_ns < FLOWING_NS
    text = "data flow" if flows else "no data arrive"
    return {"flows": flows, "newest_age_s": round(max(0, age_ns) / NS, 3), "text": text}
