"""The trial as one picture: lanes of what happened, rows of what was measured, one time axis for all."""

from __future__ import annotations

from dashboard.figures import Figure
from dashboard.ledger_lanes import alarms, cleanings, phases, ticks
from dashboard.ledger_rows import row_band
from dashboard.palette import Palette
from dashboard.sheet import Sheet
from dashboard.views import Ledger


def ledger_figure(ledger: Ledger, colours: Palette) -> Figure:
    """The whole sheet of one window."""
    sheet = Sheet(ledger, colours)
    phases(sheet)
    ticks(sheet, "Settings", ledger.settings, "line-ns-open", colours.ink, words=True)
    alarms(sheet)
    cleanings(sheet)
    ticks(sheet, "Notes and marks", ledger.notes, "diamond", colours.ink, words=True)
    for row in ledger.rows:
        row_band(sheet, row)
    return sheet.done()
