"""Plays stored trials through the live rules and counts what they found, missed and cried for nothing."""

from __future__ import annotations

from rules.backtest.judging import judged
from rules.backtest.said import Record, Said
from rules.backtest.scoring import Found, Outcome, Score, score
from rules.backtest.summary import Summary, summary
from rules.backtest.truth import Truth, read_truth

__all__ = [
    "Found",
    "Outcome",
    "Record",
    "Said",
    "Score",
    "Summary",
    "Truth",
    "judged",
    "read_truth",
    "score",
    "summary",
]
