"""What every answer says to the browser about whom to trust: nobody but this server."""

from __future__ import annotations

from urllib.parse import urlsplit

import dash
from flask import Flask, Response, abort, request

_STEADY = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


def policy(script_hashes: list[str]) -> str:
    """The Content-Security-Policy: everything from this server, scripts only from files or with a known hash.

    Inline styles are let through: the page's own parts carry sizes in ``style`` attributes.
    """
    scripts = " ".join(["'self'", *script_hashes])
    return (
        f"default-src 'self'; script-src {scripts}; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; object-src 'none'; "
        "base-uri 'self'; form-action 'self'; frame-ancestors 'none'"
    )


def harden(app: dash.Dash) -> None:
    """Put the headers on every answer and refuse what another site sends.

    The order matters: Dash knows all its inline scripts only once it has made the page, and handlers cannot
    be added after that. So the handler comes first, then one request, then the hashes.
    """
    server: Flask = app.server
    headers = dict(_STEADY)

    @server.before_request
    def _same_site_only() -> None:
        if request.method not in {"GET", "HEAD", "OPTIONS"} and _foreign():
            abort(403)

    @server.after_request
    def _headers(response: Response) -> Response:
        for name, value in headers.items():
            response.headers[name] = value
        return response

    server.test_client().get("/")
    headers["Content-Security-Policy"] = policy(list(app.csp_hashes()))


def _foreign() -> bool:
    """Whether the request was made by a page of another site."""
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in {"same-origin", "none"}:
        return True
    origin = request.headers.get("Origin")
    return origin is not None and urlsplit(origin).netloc != request.host
