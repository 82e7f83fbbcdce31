"""Every rule by name: what it means, what to do about it, and which numbers a line's file may set."""

from __future__ import annotations

from collections.abc import Mapping

from rules.table import extrusion, filtering, heating, pelletizing, recording, sensing
from rules.table.rule import Parameter, Rule

__all__ = ["RULES", "Parameter", "Rule"]

RULES: Mapping[str, Rule] = {
    **heating.ABOUT,
    **filtering.ABOUT,
    **extrusion.ABOUT,
    **pelletizing.ABOUT,
    **sensing.ABOUT,
    **recording.ABOUT,
}
