"""What is written about the rules of doser, extruder and vent."""

from __future__ import annotations

from collections.abc import Mapping

from rules.table.rule import Rule

ABOUT: Mapping[str, Rule] = {}
