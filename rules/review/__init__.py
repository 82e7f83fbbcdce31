"""Alarm review: how many alarms came and how, beside what is published, and what to change.

Pure: entries, times and samples go in, figures and proposals come out.
"""

from __future__ import annotations

from rules.review.floods import Flood, FloodRule
from rules.review.history import OURS, AlarmHistory, AlarmName
from rules.review.judgement import Figure, Judgement
from rules.review.proposal import Known, Proposal
from rules.review.published import PUBLISHED, Published
from rules.review.reading import histories, unrecorded
from rules.review.review import TOGETHER, Review, review
from rules.review.spells import Spell, Window

__all__ = [
    "OURS",
    "PUBLISHED",
    "TOGETHER",
    "AlarmHistory",
    "AlarmName",
    "Figure",
    "Flood",
    "FloodRule",
    "Judgement",
    "Known",
    "Proposal",
    "Published",
    "Review",
    "Spell",
    "Window",
    "histories",
    "review",
    "unrecorded",
]
