"""What can be asked for, and what one answer is."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Aggregate(StrEnum):
    """The aggregates of OPC 10000-13, by their BrowseName, in the order of clause 5.4.3.

    Example:
        >>> Aggregate("TimeAverage2") is Aggregate.TIME_AVERAGE_2
        True
    """

    INTERPOLATIVE = "Interpolative"
    AVERAGE = "Average"
    TIME_AVERAGE = "TimeAverage"
    TIME_AVERAGE_2 = "TimeAverage2"
    TOTAL = "Total"
    TOTAL_2 = "Total2"
    MINIMUM = "Minimum"
    MAXIMUM = "Maximum"
    MINIMUM_ACTUAL_TIME = "MinimumActualTime"
    MAXIMUM_ACTUAL_TIME = "MaximumActualTime"
    RANGE = "Range"
    MINIMUM_2 = "Minimum2"
    MAXIMUM_2 = "Maximum2"
    MINIMUM_ACTUAL_TIME_2 = "MinimumActualTime2"
    MAXIMUM_ACTUAL_TIME_2 = "MaximumActualTime2"
    RANGE_2 = "Range2"
    ANNOTATION_COUNT = "AnnotationCount"
    COUNT = "Count"
    DURATION_IN_STATE_ZERO = "DurationInStateZero"
    DURATION_IN_STATE_NON_ZERO = "DurationInStateNonZero"
    NUMBER_OF_TRANSITIONS = "NumberOfTransitions"
    START = "Start"
    END = "End"
    DELTA = "Delta"
    START_BOUND = "StartBound"
    END_BOUND = "EndBound"
    DELTA_BOUNDS = "DeltaBounds"
    DURATION_GOOD = "DurationGood"
    DURATION_BAD = "DurationBad"
    PERCENT_GOOD = "PercentGood"
    PERCENT_BAD = "PercentBad"
    WORST_QUALITY = "WorstQuality"
    WORST_QUALITY_2 = "WorstQuality2"
    STANDARD_DEVIATION_SAMPLE = "StandardDeviationSample"
    VARIANCE_SAMPLE = "VarianceSample"
    STANDARD_DEVIATION_POPULATION = "StandardDeviationPopulation"
    VARIANCE_POPULATION = "VariancePopulation"


@dataclass(frozen=True, slots=True)
class AggregateRow:
    """One interval's result.

    Attributes:
        time_ns: UTC nanoseconds; start of the interval, but the sample's own time for Start, End and the
            ActualTime aggregates where they hold a value.
        value: in the tag's unit, except: counts (samples, transitions, annotations), durations in
            milliseconds, percents, totals in the tag's unit times seconds, variances in its square, and the
            OPC UA StatusCode itself for WorstQuality; NaN when there is none.
        quality: OPC UA StatusCode with its historian bits.
    """

    time_ns: int
    value: float
    quality: int
