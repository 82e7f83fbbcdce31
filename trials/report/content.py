"""What a report consists of, before it becomes a page: sections with paragraphs, tables, pictures. Pure.

All text is plain text in the language of the report; whoever sets it escapes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Align(StrEnum):
    """How the cells of a column stand."""

    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Text; ``strong`` for what is to be read first."""

    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Small:
    """Text beside a table or picture: what it rests on."""

    text: str


@dataclass(frozen=True, slots=True)
class Lines:
    """Sentences one below the other."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Caution:
    """What a reader must not overlook."""

    text: str


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading within a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of text.

    Attributes:
        head: one a column; empty for a table of names and what stands for them.
        rows: each as long as the head.
        caption: what it shows, with the time that it speaks of.
        align: one a column; left where there are fewer.
        weights: widths of the columns in relation to each other; empty: by what stands in them.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    align: tuple[Align, ...] = ()
    weights: tuple[float, ...] = ()

    @property
    def columns(self) -> int:
        """How many there are."""
        return len(self.head) or max((len(r) for r in self.rows), default=0)

    def aligned(self, column: int) -> Align:
        """How a column stands."""
        return self.align[column] if column < len(self.align) else Align.LEFT


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing as SVG, with what it shows in words."""

    svg: bytes
    caption: str


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph as JPEG."""

    jpeg: bytes
    caption: str


Block = Paragraph | Small | Lines | Caution | Heading | Table | Picture | Photograph


@dataclass(frozen=True, slots=True)
class Section:
    """One of the report's twelve."""

    number: int
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """A whole report.

    Attributes:
        language: ISO 639-1 code.
        title, subtitle: at the top of the first page.
        running: what stands at the top of the other pages, left and right.
        page_of: text between a page's number and how many there are.
        contents: heading of the list of sections.
        interim: words where the trial is under way or simulated; else empty.
        dated: year, month, day that the file bears.
    """

    language: str
    title: str
    subtitle: str
    running: tuple[str, str]
    page_of: str
    contents: str
    interim: str
    dated: tuple[int, int, int]
    sections: tuple[Section, ...]
