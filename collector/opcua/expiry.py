"""When a certificate runs out: said thirty days ahead, once a day."""

from __future__ import annotations

from collections.abc import Iterable

from collector.opcua.certificate import DAY_NS, Certificate, day
from historian.event import Event

AHEAD_NS = 30 * DAY_NS


def expiry_text(whose: str, certificate: Certificate, now_ns: int) -> str | None:
    """What a person should know of a certificate's end; None while it is far away.

    Args:
        whose: "our own certificate".
        certificate: in use.
        now_ns: UTC nanoseconds.
    """
    left_ns = certificate.ends_ns - now_ns
    if left_ns > AHEAD_NS:
        return None
    when = f"in {left_ns // DAY_NS} days" if left_ns > 0 else "already"
    return (
        f"{whose} ({certificate.subject}, thumbprint {certificate.thumbprint[:16]}) expires on "
        f"{day(certificate.ends_ns)}, {when}; without another one no connection is made after that"
    )


class ExpiryWatch:
    """Says for one source what expires soon.

    Args:
        source: its name.
    """

    def __init__(self, source: str) -> None:
        self._source = source
        self._told_ns: dict[str, int] = {}

    def due(self, papers: Iterable[tuple[str, Certificate]], now_ns: int) -> list[Event]:
        """What is to be said now.

        Args:
            papers: whose, and which certificate, of those in use.
            now_ns: UTC nanoseconds.
        """
        events = []
        for whose, certificate in papers:
            said = expiry_text(whose, certificate, now_ns)
            told_ns = self._told_ns.get(certificate.thumbprint)
            # A clock that was set back must not silence it.
            if said is None or (told_ns is not None and 0 <= now_ns - told_ns < DAY_NS):
                continue
            self._told_ns[certificate.thumbprint] = now_ns
            text = f"Source {self._source}: {said}. Remedy: renew it in time, and have the new one accepted."
            data = {"thumbprint": certificate.thumbprint, "ends_ns": certificate.ends_ns}
            events.append(Event(now_ns, self._source, "certificate-expires", text, data))
        return events
