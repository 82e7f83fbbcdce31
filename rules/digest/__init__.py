"""The maintenance digest: what failed or is drifting, what needs hands, and what could not be judged.

Content is a pure function of the journal and a period; it is rendered as text, page and JSON,
and carried by mail, web address or folder from an outbox on disk.
"""

from __future__ import annotations

from rules.digest.as_html import as_html, within
from rules.digest.as_json import as_json
from rules.digest.as_text import as_text
from rules.digest.content import KINDS, Digest, Wanted, digest_of, pictures_of, repairs_until
from rules.digest.period import DAY, SHIFT, Period, day_of, days_ended, shift_from, shifts_ended, start_of

__all__ = [
    "DAY",
    "KINDS",
    "SHIFT",
    "Digest",
    "Period",
    "Wanted",
    "as_html",
    "as_json",
    "as_text",
    "day_of",
    "days_ended",
    "digest_of",
    "pictures_of",
    "repairs_until",
    "shift_from",
    "shifts_ended",
    "start_of",
    "within",
]
