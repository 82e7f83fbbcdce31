"""From a trial to a production line: what screen area a throughput needs, and which machine has it. Pure.

Only the reading of the user's table of machines (``trials.scale_up.sizes``) opens a file.
"""

from __future__ import annotations

from trials.scale_up.answer import Answer, SizeRow
from trials.scale_up.scaled import scale_up
from trials.scale_up.seen import Seen, seen_of
from trials.scale_up.sizes import Size, read_sizes, sizes_of_text
from trials.scale_up.wanted import Wanted, wanted_of
from trials.scale_up.words import rows_of, sentences_of

__all__ = [
    "Answer",
    "Seen",
    "Size",
    "SizeRow",
    "Wanted",
    "read_sizes",
    "rows_of",
    "scale_up",
    "seen_of",
    "sentences_of",
    "sizes_of_text",
    "wanted_of",
]
