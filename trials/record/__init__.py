"""The record of a line's trials: what was planned, done, taken, measured and noted, and by whom."""

from trials.record.book import Book, book_of
from trials.record.entries import Entry, What
from trials.record.file import Change, Note, Trial, TrialRecord

__all__ = ["Book", "Change", "Entry", "Note", "Trial", "TrialRecord", "What", "book_of"]
