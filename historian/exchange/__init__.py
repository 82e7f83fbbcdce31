"""In and out: files of panels and loggers into a store, and a window of a store into files for others."""

from historian.exchange._clock import in_zone
from historian.exchange._window import Window
from historian.exchange.errors import MappingFault, MappingWrong
from historian.exchange.exporting import export_csv
from historian.exchange.guess import Proposal, guess_mapping
from historian.exchange.importing import import_csv
from historian.exchange.layout import Layout, ReadTimes, layout_of, read_times, rows_in
from historian.exchange.loading import load_mapping, read_mapping
from historian.exchange.mapping import CsvMapping
from historian.exchange.parquet import export_parquet
from historian.exchange.report import Hole, ImportReport, Reject, TagTotal
from historian.exchange.workbook import export_excel

__all__ = [
    "CsvMapping",
    "Hole",
    "ImportReport",
    "Layout",
    "MappingFault",
    "MappingWrong",
    "Proposal",
    "ReadTimes",
    "Reject",
    "TagTotal",
    "Window",
    "export_csv",
    "export_excel",
    "export_parquet",
    "guess_mapping",
    "import_csv",
    "in_zone",
    "layout_of",
    "load_mapping",
    "read_mapping",
    "read_times",
    "rows_in",
]
