"""The shortest scenario there is: forty seconds of a line that stands."""

from __future__ import annotations

COLD_LINE = """
[scenario]
title = "Cold line"
seed = 5
duration = "40 s"

[material]
polymer = "LDPE"
form = "flakes"
lot = "1"
dirt_percent = 2.0

[line]
plates = 8
"""
