"""What is written about the rules of die, knives, process water and dryer."""

from __future__ import annotations

from collections.abc import Mapping

from rules.table.rule import Rule

ABOUT: Mapping[str, Rule] = {}
