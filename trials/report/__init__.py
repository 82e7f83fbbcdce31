"""Reports of a trial: one tree of content, set as HTML and as PDF."""

from __future__ import annotations

from trials.report.content import Report
from trials.report.html import as_html
from trials.report.pdf import as_pages, as_pdf
from trials.report.report import report_of
from trials.report.speech import Speech
from trials.report.spoken import LANGUAGES, speech_of
from trials.report.units import System
from trials.report.wanted import Made, Wanted

__all__ = [
    "LANGUAGES",
    "Made",
    "Report",
    "Speech",
    "System",
    "Wanted",
    "as_html",
    "as_pages",
    "as_pdf",
    "report_of",
    "speech_of",
]
