"""A report as PDF: the same bytes for the same report."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from historian.errors import WrongInput
from trials.pictures.fonts import FONTS
from trials.report.content import Report
from trials.report.typeset import typeset

STANDARD: Final = "a-2b"
"""PDF/A-2b, ISO 19005-2: fonts within, so that it reads the same in years."""


def as_pdf(report: Report, *, us_paper: bool = False) -> bytes:
    """The report as PDF/A-2b with bookmarks.

    Raises:
        WrongInput: the typesetter is not installed.
    """
    return bytes(_compiled(report, us_paper, format="pdf", pdf_standards=STANDARD))


def as_pages(report: Report, *, us_paper: bool = False, ppi: float = 90) -> list[bytes]:
    """Each page as PNG."""
    pages = _compiled(report, us_paper, format="png", ppi=ppi)
    return pages if isinstance(pages, list) else [pages]


def _compiled(report: Report, us_paper: bool, **how: Any) -> Any:
    try:
        import typst
    except ImportError as error:
        raise WrongInput(
            'the PDF needs the typesetter: pip install "meltledger[report]"; the HTML needs nothing more'
        ) from error
    files = dict(typeset(report, us_paper=us_paper).files)
    return typst.compile(files, font_paths=_fonts(), **how)


@lru_cache(maxsize=1)
def _fonts() -> Any:
    import typst

    return typst.Fonts(include_system_fonts=False, font_paths=[str(Path(FONTS))])
