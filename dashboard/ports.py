"""What the pages ask of the journal and the trial record, and no more."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any, Protocol

from rules.entry import Act, Entry, EntryKind


class StandingAlarm(Protocol):
    """One alarm as the journal's last entry about it leaves it; see ``rules.journal.AlarmNow``."""

    @property
    def rule(self) -> str: ...
    @property
    def subject(self) -> str: ...
    @property
    def state(self) -> str: ...
    @property
    def priority(self) -> int: ...
    @property
    def sentence(self) -> str: ...
    @property
    def advice(self) -> str: ...
    @property
    def onset_ns(self) -> int: ...
    @property
    def since_ns(self) -> int: ...
    @property
    def evidence(self) -> Mapping[str, Any]: ...
    @property
    def shelved_until_ns(self) -> int | None: ...


class JournalPort(Protocol):
    """The journal as the pages read it, and the one thing that they write; see ``rules.journal.Journal``."""

    def alarms(self, *, normal: bool = False) -> Sequence[StandingAlarm]: ...

    def machine_alarms(self) -> Sequence[Entry]: ...

    def entries(
        self,
        start_ns: int | None = None,
        end_ns: int | None = None,
        kinds: Collection[EntryKind | str] | None = None,
        limit: int | None = None,
    ) -> Sequence[Entry]: ...

    def record_act(self, act: Act) -> int: ...


class TrialNote(Protocol):
    """A note on a trial; see ``trials.record.Note``."""

    @property
    def time_ns(self) -> int: ...
    @property
    def by(self) -> str: ...
    @property
    def text(self) -> str: ...


class TrialOnRecord(Protocol):
    """One trial; see ``trials.record``."""

    @property
    def id(self) -> int: ...
    @property
    def name(self) -> str: ...
    @property
    def code_name(self) -> str: ...
    @property
    def start_ns(self) -> int: ...
    @property
    def end_ns(self) -> int | None: ...


class TrialPort(Protocol):
    """The trial record as the pages read it; see ``trials.record.TrialRecord``."""

    def under_way(self) -> TrialOnRecord | None: ...
    def trials(self) -> Sequence[TrialOnRecord]: ...
    def notes(self, trial_id: int) -> Sequence[TrialNote]: ...
