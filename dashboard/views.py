"""What the pages show, as plain values: no store, no journal, no component stands here."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray


class Trust(StrEnum):
    """Whether a figure may be read as what the line does now."""

    LIVE = "live"  # arrived lately, good quality
    UNCERTAIN = "uncertain"  # arrived lately, its source doubts it
    LOST = "lost"  # bad, or older than it should be: not shown as a number
    ABSENT = "absent"  # this line has no such signal


@dataclass(frozen=True, slots=True)
class Reading:
    """One figure of the page.

    Attributes:
        key: name within the page.
        title: what it is, in words.
        text: the digits; empty when there is nothing to trust.
        unit: printed unit.
        note: one short line beside it: set-point, place, bar to the trigger.
        trust: whether it is live.
        why: when it is not: "no data since 10:02:11 (source lost)".
        small: whether the digits are words rather than figures.
    """

    key: str
    title: str
    text: str
    unit: str
    note: str = ""
    trust: Trust = Trust.LIVE
    why: str = ""
    small: bool = False


@dataclass(frozen=True, slots=True)
class Cleaning:
    """One cleaning of the screen as the page draws it.

    Attributes:
        start_ns, end_ns: when the wiper worked.
        before_bar, after_bar: pressure difference before and left after; NaN when unknown.
        because: what started it, in words; empty when unknown.
    """

    start_ns: int
    end_ns: int
    before_bar: float
    after_bar: float
    because: str = ""


@dataclass(frozen=True, slots=True)
class AlarmView:
    """One alarm that stands or waits to be seen.

    Attributes:
        key: rule and subject as one text, for buttons.
        bars: 3 now, 2 soon, 1 when you can.
        word: the same in a word.
        place, sentence, advice: for a person.
        since: "since 10:02 (for 5 min)".
        seen: whether somebody has said so.
        returned: whether its condition is over (it waits to be seen only).
        shelved: "shelved, 20 min left", or empty.
        state_words: the life cycle's state in words.
        asked: what a person asked for that the line's rules have not taken yet, in words.
    """

    key: str
    rule: str
    subject: str
    bars: int
    word: str
    place: str
    sentence: str
    advice: str
    since: str
    seen: bool
    returned: bool
    shelved: str
    state_words: str
    asked: str = ""


@dataclass(frozen=True, slots=True)
class SourceView:
    """How one source does: its name, whether it delivers, the sentence, and how it does beyond that."""

    name: str
    delivers: bool
    sentence: str
    health: str = ""


@dataclass(frozen=True, slots=True)
class MachineRow:
    """One signal of a machine with its last half hour.

    Attributes:
        path: canonical tag path.
        reading: the figure.
        spark: points (x, y) of the last half hour, both 0–1, y up; None breaks the line.
        span: "219–223 °C" of that half hour.
    """

    path: str
    reading: Reading
    spark: tuple[tuple[float, float] | None, ...] = ()
    span: str = ""


@dataclass(frozen=True, slots=True)
class MachineView:
    """One machine in flow order with its figures."""

    name: str
    rows: tuple[MachineRow, ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark that a person set and may still take back."""

    id: int
    text: str
    clock: str


@dataclass(frozen=True, slots=True)
class LiveView:
    """The line now.

    Attributes:
        headline: state and what stands out; read out when it changes.
        outlook: what comes next, with its times; changes often.
        readings: at most seven figures.
        cleanings: the last twelve, oldest first.
        trigger_bar: pressure difference that starts a cleaning; None when not configured.
        zones: one line on the worst two heated zones.
        wiper: the wiper's state as a word.
        said: what a person asked for and was not done, and why; empty otherwise.
        age: how old the newest sample is.
        flowing: whether something arrived within 30 s.
        trial: trial number and code name, or that none is open.
        clock: the site's time with its zone.
        simulated: whether a simulator or a playback delivers it.
        own_alarms: what stands on the machines' own lists, a line each.
    """

    headline: str
    outlook: str
    readings: tuple[Reading, ...]
    cleanings: tuple[Cleaning, ...]
    trigger_bar: float | None
    alarms: tuple[AlarmView, ...]
    zones: str
    wiper: str
    marks: tuple[Mark, ...]
    said: str
    age: str
    flowing: bool
    sources: tuple[SourceView, ...]
    trial: str
    clock: str
    simulated: bool
    now_ns: int = 0
    zone: str = "UTC"
    own_alarms: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """One signal's outline in a window.

    Attributes:
        path, label, unit: what it is; ``label`` is short enough for the line's right end.
        kind: the signal's kind, which decides its colour on every page.
        time_ms: site time as milliseconds since 1970 (UTC plus the window's offset), shape (m,).
        value: NaN where the line breaks, shape (m,).
        uncertain: which points a source doubts, shape (m,).
        step: whether the value holds until the next point.
        setpoint: whether it is what was asked for rather than what was measured.
    """

    path: str
    label: str
    unit: str
    kind: str
    time_ms: NDArray[np.float64]
    value: NDArray[np.float64]
    uncertain: NDArray[np.bool_]
    step: bool = False
    setpoint: bool = False


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch without data, in site milliseconds, with its words."""

    start_ms: float
    end_ms: float
    text: str


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the ledger: curves with one unit on one axis, and their gaps."""

    title: str
    unit: str
    curves: tuple[Curve, ...]
    gaps: tuple[Gap, ...] = ()


@dataclass(frozen=True, slots=True)
class Band:
    """Something that lasted: a phase, or a part of an alarm's life.

    Attributes:
        heavy: thick (an alarm not yet seen) or thin.
        hollow: found late.
        key: which alarm it opens; empty for phases.
    """

    start_ms: float
    end_ms: float
    text: str
    hover: str = ""
    bars: int = 0
    heavy: bool = False
    hollow: bool = False
    key: str = ""
    lane: int = 0


@dataclass(frozen=True, slots=True)
class Tick:
    """Something that happened at a time: a setting changed, a cleaning, a note, a mark."""

    time_ms: float
    text: str
    hover: str = ""
    height: float = 1.0


@dataclass(frozen=True, slots=True)
class AlarmLine:
    """One alarm of the window, as a line of the table below the picture."""

    key: str
    bars: int
    word: str
    place: str
    sentence: str
    span: str
    late: bool


@dataclass(frozen=True, slots=True)
class Ledger:
    """Everything that happened in a window, on one time axis.

    Attributes:
        start_ns, end_ns: the window.
        offset_ms: added to UTC for the axis, the same over the whole window.
        axis: the axis' name: zone and offset.
    """

    start_ns: int
    end_ns: int
    offset_ms: int
    axis: str
    title: str
    sentence: str
    phases: tuple[Band, ...] = ()
    settings: tuple[Tick, ...] = ()
    alarms: tuple[Band, ...] = ()
    cleanings: tuple[Tick, ...] = ()
    notes: tuple[Tick, ...] = ()
    rows: tuple[Row, ...] = ()
    lines: tuple[AlarmLine, ...] = ()
    simulated: bool = False


@dataclass(frozen=True, slots=True)
class EvidenceView:
    """Why an alarm was raised, and what people did about it.

    Attributes:
        figures: name, value with unit.
        acts: clock, words; oldest first.
        window_ns: what the rule looked at.
    """

    sentence: str
    advice: str
    place: str
    word: str
    bars: int
    window: str
    window_ns: tuple[int, int]
    tags: tuple[str, ...] = ()
    figures: tuple[tuple[str, str], ...] = ()
    acts: tuple[tuple[str, str], ...] = field(default=())
