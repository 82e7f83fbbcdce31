"""A day for every rule of this part on which it has something to say."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from historian.frame import Series
from rules.line import LineFacts

DAYS: Mapping[str, Callable[[], tuple[LineFacts, Mapping[str, Series]]]] = {}
