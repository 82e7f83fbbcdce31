"""One number an interval, after OPC 10000-13 (v1.05): every aggregate that the standard defines.

Pure functions over the samples of one tag. Two readings of the standard are settled here:

- Where its text and its own example rows differ, a row that two sources confirm is followed.
- A row that holds no value (Bad, Bad_NoData) carries none of the bits that say where a value came from.

Backward time (a start after the end) and an interval of zero are not served; split the request instead.
"""

from historian.aggregates._codes import (
    CALCULATED,
    DATA_SUB_NORMAL,
    INTERPOLATED,
    MULTIPLE_VALUES,
    PARTIAL,
)
from historian.aggregates._compute import aggregate_columns, aggregate_series
from historian.aggregates._config import AggregateConfig
from historian.aggregates._kinds import Aggregate, AggregateRow

__all__ = [
    "CALCULATED",
    "DATA_SUB_NORMAL",
    "INTERPOLATED",
    "MULTIPLE_VALUES",
    "PARTIAL",
    "Aggregate",
    "AggregateConfig",
    "AggregateRow",
    "aggregate_columns",
    "aggregate_series",
]
