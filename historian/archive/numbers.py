"""How a column of numbers is kept exactly: as a scaled integer, in single or in double precision."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from historian.frame import Values

_SCALES: Final = range(7)
_INT32_DIGITS: Final = 9
_INT64_DIGITS: Final = 18
# Below 2**53 a scaled integer divided by its power of ten is the double that the decimal text would give.
_LIMIT: Final = 10**15
_PROBE: Final = 64


@dataclass(frozen=True, slots=True)
class Form:
    """How the values of a column are kept.

    Attributes:
        scale: digits after the point of an exact decimal; None for a float.
        digits: precision of the decimal: 9 is kept as INT32, 18 as INT64.
        single: whether single precision is exact.
        repeats: whether few different values make a dictionary worth while; for floats.
    """

    scale: int | None
    digits: int = 0
    single: bool = False
    repeats: bool = False

    @property
    def arrow(self) -> Any:
        """Its Arrow type."""
        if self.scale is not None:
            return pa.decimal128(self.digits, self.scale)
        return pa.float32() if self.single else pa.float64()


def form_of(value: Values) -> Form:
    """The smallest form that gives every value back bit for bit; NaN stands for no value.

    Example:
        >>> form_of(np.array([220.1, np.nan, 219.9])).scale
        1
    """
    found = value[~np.isnan(value)]
    for scale in _SCALES:
        if _is_exact(found[:_PROBE], scale) and _is_exact(found, scale):
            largest = float(np.abs(found).max(initial=0)) * 10**scale
            return Form(scale, _INT32_DIGITS if largest < 10**_INT32_DIGITS - 1 else _INT64_DIGITS)
    with np.errstate(over="ignore", under="ignore"):
        single = found.astype(np.float32)
    repeats = 8 * len(np.unique(found)) <= len(found)
    return Form(None, single=bool((single.astype(np.float64) == found).all()), repeats=repeats)


def to_arrow(value: Values, form: Form) -> Any:
    """The values as an Arrow array of the form's type; NaN becomes null.

    Every value must be exact in the form, as ``form_of`` found it.
    """
    none = np.isnan(value)
    if form.scale is None:
        return pa.array(value.astype(np.float32) if form.single else value, mask=none)
    scaled = np.rint(np.where(none, 0.0, value) * 10**form.scale).astype(np.int64)
    # A decimal of 128 bits in memory: low half, then the sign; on disk it is INT32 or INT64.
    halves = pa.py_buffer(np.ascontiguousarray(np.stack((scaled, scaled >> 63), axis=1)))
    validity = pa.array(~none).buffers()[1] if none.any() else None
    return pa.Array.from_buffers(form.arrow, len(value), [validity, halves])


def from_arrow(column: Any) -> Values:
    """The doubles of a column that ``to_arrow`` made; null becomes NaN."""
    array = _whole(column)
    if pa.types.is_decimal(array.type):
        halves = np.frombuffer(array.buffers()[1], dtype=np.int64)
        low = halves[2 * array.offset : 2 * (array.offset + len(array)) : 2]
        value = low / np.float64(10**array.type.scale)
    else:
        dtype = np.float32 if pa.types.is_float32(array.type) else np.float64
        value = integers(array, dtype).astype(np.float64)
    if array.null_count:
        value[~valid(array)] = np.nan
    return value


def integers(column: Any, dtype: Any) -> NDArray[Any]:
    """The raw numbers of a fixed-width column; whatever stands in memory where it is null."""
    array = _whole(column)
    if len(array) == 0:
        return np.empty(0, dtype=dtype)
    return np.frombuffer(array.buffers()[1], dtype=dtype)[array.offset : array.offset + len(array)]


def valid(column: Any) -> NDArray[np.bool_]:
    """Where a column is not null."""
    found: NDArray[np.bool_] = _whole(column).is_valid().to_numpy(zero_copy_only=False)
    return found


def _is_exact(value: Values, scale: int) -> bool:
    if not (np.abs(value) < _LIMIT / 10**scale).all():
        return False
    scaled = np.rint(value * 10**scale)
    back = scaled / np.float64(10**scale)
    # As bits, because minus zero would come back as zero; and rint gives -0.0 for it.
    return bool(np.array_equal((back + 0.0).view(np.int64), value.view(np.int64)))


def _whole(column: Any) -> Any:
    if isinstance(column, pa.ChunkedArray):
        return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()
    return column
