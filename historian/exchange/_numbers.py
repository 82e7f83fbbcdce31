"""Reads numbers as panels write them: decimal comma, grouped thousands, words for states."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from historian.exchange._table import shown
from historian.exchange._written import MESH, is_mesh
from historian.quality import GOOD, NO_DATA, SENSOR_FAILURE

_EXPONENT = r"(?:[eE][+-]?\d+)?"
_SAFE = frozenset("0123456789+-eE.\n")


@dataclass(frozen=True)
class NumberForm:
    """How a file writes its numbers.

    Attributes:
        decimal: the decimal mark, ``.`` or ``,``.
        thousands: the mark between groups of three digits; empty when there is none.
        bad: cells that mean a broken sensor.
        empty_is_no_data: whether an empty cell is a gap (otherwise nothing was logged there).
    """

    decimal: str = "."
    thousands: str = ""
    bad: frozenset[str] = field(default_factory=frozenset)
    empty_is_no_data: bool = False

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        mark, group = re.escape(self.decimal), re.escape(self.thousands)
        whole = rf"(?:\d{{1,3}}(?:{group}\d{{3}})+|\d+)" if self.thousands else r"\d+"
        return re.compile(rf"[+-]?(?:{whole}(?:{mark}\d*)?|{mark}\d+){_EXPONENT}")

    def number(self, text: str) -> float | None:
        """The number in a cell; None when there is none.

        Example:
            >>> NumberForm(",", ".").number("1.234,5"), NumberForm(",").number("1.5")
            (1234.5, None)
        """
        if not self._pattern.fullmatch(text):
            return None
        if self.thousands:
            text = text.replace(self.thousands, "")
        value = float(text.replace(self.decimal, "."))
        return value if np.isfinite(value) else None


@dataclass(frozen=True, slots=True)
class Column:
    """The cells of one column as samples.

    Attributes:
        value: NaN where a cell is bad, empty or does not fit, shape (n,).
        quality: OPC UA StatusCode, shape (n,).
        stays: whether the cell is a sample, shape (n,).
        misfits: place → what is wrong with the cell there.
    """

    value: NDArray[np.float64]
    quality: NDArray[np.uint32]
    stays: NDArray[np.bool_]
    misfits: Mapping[int, str]


def read_column(texts: Sequence[str], form: NumberForm, words: Mapping[str, float]) -> Column:
    """The samples in a column's cells.

    Args:
        texts: the cells.
        form: how the file writes its numbers.
        words: lower-case words that stand for a number.

    Example:
        >>> c = read_column(["1,5", "", "---", "x"], NumberForm(",", bad=frozenset({"---"})), {})
        >>> c.value.tolist(), c.stays.tolist(), list(c.misfits)
        ([1.5, nan, nan, nan], [True, False, True, False], [3])
    """
    fast = _all_plain(texts, form)
    n = len(texts)
    if fast is not None:
        return Column(fast, np.full(n, GOOD, np.uint32), np.ones(n, np.bool_), {})
    value, quality, stays = np.full(n, np.nan), np.full(n, GOOD, np.uint32), np.ones(n, np.bool_)
    misfits: dict[int, str] = {}
    for place, cell in enumerate(texts):
        text = cell.strip()
        number = words.get(text.lower())
        number = form.number(text) if number is None else number
        if number is not None:
            value[place] = number
        elif text == "":
            quality[place], stays[place] = NO_DATA, form.empty_is_no_data
        elif text in form.bad:
            quality[place] = SENSOR_FAILURE
        else:
            stays[place] = False
            misfits[place] = _why(text, form, words)
    return Column(value, quality, stays, misfits)


def _all_plain(texts: Sequence[str], form: NumberForm) -> NDArray[np.float64] | None:
    """The cells as numbers when every one is a plain number; None otherwise.

    One pass over the joined text instead of a pattern a cell: about eight times as fast.
    """
    joined = "\n".join(texts)
    if form.decimal != ".":
        if "." in joined:
            return None
        joined = joined.replace(form.decimal, ".")
    if not _SAFE.issuperset(joined):
        return None
    try:
        value = np.array([float(t) for t in joined.split("\n")], dtype=np.float64)
    except ValueError:
        return None
    return value if len(value) == len(texts) and bool(np.isfinite(value).all()) else None


def _why(text: str, form: NumberForm, words: Mapping[str, float]) -> str:
    if is_mesh(text):
        return f"'{shown(text)}': {MESH}"
    if words:
        return f"'{shown(text)}' is none of the words {', '.join(sorted(words))}, and no number"
    return f"'{shown(text)}' is no number with the decimal mark '{form.decimal}'"
