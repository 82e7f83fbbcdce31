"""Drawings of a report as SVG, the same bytes for the same samples. They know samples and words, no trial."""

from __future__ import annotations

from trials.pictures.drawn import Band, Curve, Dots, How, Row, Span, Strip
from trials.pictures.scatter import scatter_svg
from trials.pictures.split import Split, split_svg
from trials.pictures.stacked import stacked_svg
from trials.pictures.strips import strips_svg

__all__ = [
    "Band",
    "Curve",
    "Dots",
    "How",
    "Row",
    "Span",
    "Split",
    "Strip",
    "scatter_svg",
    "split_svg",
    "stacked_svg",
    "strips_svg",
]
