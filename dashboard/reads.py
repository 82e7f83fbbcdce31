"""What the pages show of one line: the only place that reads its store, its journal and its trial record."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace

from dashboard.alarm_bars import evidence_of
from dashboard.alarm_views import alarm_key, alarm_views, parts_of, start_of
from dashboard.cleaning_watch import CleaningWatch
from dashboard.filled_in import FilledIn
from dashboard.headline import PhaseNow, headline, outlook
from dashboard.lanes import lanes_of, standing_marks
from dashboard.ledger import ledger_of
from dashboard.machine_alarm_views import own_alarms
from dashboard.machine_views import machine_views, shown_tags, sparks
from dashboard.now import Now
from dashboard.phase_watch import PhaseWatch
from dashboard.ports import JournalPort, TrialNote, TrialOnRecord, TrialPort
from dashboard.seven import dp_now, readings
from dashboard.source_views import source_views
from dashboard.views import Cleaning, EvidenceView, Ledger, LiveView, MachineView, Mark
from dashboard.words import clock_text, duration_text, local_time, offset_ms
from dashboard.zones import zones_of, zones_sentence
from historian.catalogue import WIPER_STATES
from historian.frame import NS, Series
from historian.store import Store
from rules.entry import Act, ActKind, EntryKind
from rules.line import LineFacts

SPARKS_EVERY_NS = 10 * NS
UNDO_NS = 600 * NS
ASKED_NS = 20 * NS
EVIDENCE_NS = 7 * 24 * 3600 * NS
REFUSAL_SHOWN_NS = 60 * NS
EVENTS_READ = 200
MARKS_READ = 20


@dataclass
class LineReads:
    """One line's store, journal and trial record, read for the pages; and the acts of people, written.

    Safe for several threads at once: readers of the same second share one answer.

    Attributes:
        zone: IANA zone of the site.
        simulated: whether its data come from a simulator or a playback.
    """

    name: str
    zone: str
    store: Store
    journal: JournalPort
    trials: TrialPort | None
    facts: LineFacts
    simulated: bool = False
    _lock: threading.RLock = field(default_factory=threading.RLock, repr=False)
    _filled_in: FilledIn = field(default_factory=FilledIn, repr=False)
    _watch: CleaningWatch = field(default_factory=CleaningWatch, repr=False)
    _live: LiveView | None = field(default=None, repr=False)
    _outlines: tuple[int, dict[str, Series]] = field(default=(0, {}), repr=False)
    _machines: tuple[MachineView, ...] = field(default=(), repr=False)
    _phase_watch: PhaseWatch | None = field(default=None, repr=False)
    _asked: dict[str, tuple[int, str]] = field(default_factory=dict, repr=False)

    def live(self, now_ns: int) -> LiveView:
        """The line now; one reading a second, whoever asks."""
        with self._lock:
            kept = self._live
            if kept is not None and kept.now_ns // NS == now_ns // NS:
                return kept
            self._live = self._read_live(now_ns)
            return self._live

    def machines(self, now_ns: int) -> tuple[MachineView, ...]:
        """The machines in flow order; their half hour is read anew every ten seconds."""
        with self._lock:
            now = self._now(now_ns)
            end_ns = now.source_time_ns or now_ns
            read_ns, outlines = self._outlines
            if not 0 <= now_ns - read_ns < SPARKS_EVERY_NS:
                outlines = sparks(self.store, shown_tags(now.tags), end_ns)
                self._outlines = (now_ns, outlines)
            return machine_views(now, outlines, end_ns)

    def newest_arrival_ns(self) -> int:
        """When a machine's newest sample reached the edge; 0 when none ever did."""
        with self._lock:
            return self._now(0).newest_arrival_ns

    def record(self, act: Act) -> int:
        """Put an act in the journal; the line's rules take it within a second or two.

        Raises:
            WrongInput: something that this kind of act needs is missing.
            StoreFull, StoreReadOnly, OutsideWorldAway: it was not kept.
        """
        number = self.journal.record_act(act)
        words = {ActKind.SEEN: "seen: noted", ActKind.SHELVE: "shelf: asked for"}
        with self._lock:
            self._live = None
            if act.what in words:
                self._asked[alarm_key(act.rule, act.subject)] = (act.time_ns, words[act.what])
        return number

    def window(self, now_ns: int) -> tuple[int, int]:
        """What the trial page opens with: the trial under way, else the last two hours with data."""
        trial = self.trials.under_way() if self.trials is not None else None
        with self._lock:
            span = self.store.span()
        end_ns = max(span[1] if span else now_ns, 1)
        if trial is not None and trial.start_ns < end_ns:
            return trial.start_ns, end_ns
        start_ns = end_ns - 7200 * NS
        return (max(start_ns, span[0]) if span and span[0] < end_ns else start_ns), end_ns

    def evidence(self, key: str, before_ns: int) -> EvidenceView | None:
        """Why an alarm was raised and what people did about it; None when it never was.

        Args:
            key: of the alarm, then its last time before ``before_ns`` is meant; or of one of its bars.
        """
        entries = self.journal.entries(before_ns - EVIDENCE_NS)
        rule, subject = parts_of(key)
        return evidence_of(entries, rule, subject, self.zone, start_ns=start_of(key), before_ns=before_ns)

    def timeline(self, start_ns: int, end_ns: int, columns: int) -> Ledger:
        """Everything that happened in a window, outlined for that many pixel columns."""
        with self._lock:
            window, offset = (start_ns, end_ns), offset_ms(start_ns, self.zone)
            phases = self._phases().between(self.store, start_ns, end_ns)
            notes = self._notes(start_ns, end_ns)
            lanes = lanes_of(self.store, self.journal, phases, notes, window, offset, self.zone)
            made = ledger_of(self.store, lanes, window, offset, columns, self.zone)
        return replace(made, title=self._title(start_ns, end_ns), simulated=self.simulated)

    def _title(self, start_ns: int, end_ns: int) -> str:
        """The trials that the window touches, by number and code name."""
        touched = self._touched(start_ns, end_ns)
        return ", ".join(_trial_words(t.name, t.code_name) for t in touched) or "No trial is on record here"

    def _now(self, now_ns: int) -> Now:
        return Now(self.store.tags(), self.store.latest(), now_ns, self.zone)

    def _read_live(self, now_ns: int) -> LiveView:
        now = self._now(now_ns)
        at_ns = now.source_time_ns or now_ns
        if self._filled_in.settled(self.store, now_ns):
            self._watch, self._phase_watch = CleaningWatch(), None
        self._watch.follow(self.store, at_ns)
        zones = zones_of(now)
        alarms = alarm_views(self.journal.alarms(), now_ns, at_ns, self.zone, self._still_asked(now_ns))
        sources = source_views(now, self.journal.entries(kinds=(EntryKind.EVENT,), limit=EVENTS_READ))
        marks, said = self._marks(now_ns)
        melt_filter = self.facts.melt_filter
        return LiveView(
            headline=headline(now, self.facts, self._phase_now(now), alarms, sources),
            outlook=self._outlook(now, at_ns),
            readings=readings(now, self._watch, self.facts, zones),
            cleanings=tuple(
                Cleaning(c.start_ns, c.end_ns, c.peak_bar, c.trough_bar) for c in self._watch.cycles
            ),
            trigger_bar=melt_filter.trigger_dp_bar if melt_filter else None,
            alarms=alarms,
            zones=zones_sentence(zones),
            wiper=_wiper_words(now),
            marks=marks,
            said=said,
            age=_age_words(now),
            flowing=now.flowing,
            sources=sources,
            trial=self._trial_words(),
            clock=f"{clock_text(now_ns, self.zone)} {local_time(now_ns, self.zone).strftime('%Z')}",
            simulated=self.simulated,
            now_ns=now_ns,
            zone=self.zone,
            own_alarms=own_alarms(self.journal.machine_alarms(), now),
        )

    def _outlook(self, now: Now, at_ns: int) -> str:
        """What comes next; nothing while what it is told from is not known now."""
        if not (dp_now(now).known and now.of("filter.wiper.state").known):
            return ""
        watch, facts = self._watch, self.facts.melt_filter
        wiping = watch.wiping_since_ns
        since_s = (at_ns - wiping) / NS if wiping is not None else None
        return outlook(watch.due(facts, at_ns), watch.outlook(facts), since_s)

    def _phase_now(self, now: Now) -> PhaseNow | None:
        if not now.flowing:
            return None
        watch = self._phases()
        watch.follow(self.store, now.source_time_ns)
        return watch.now

    def _phases(self) -> PhaseWatch:
        if self._phase_watch is None:
            self._phase_watch = PhaseWatch(self.facts.planned_kg_h)
        return self._phase_watch

    def _touched(self, start_ns: int, end_ns: int) -> list[TrialOnRecord]:
        """The trials that a window touches."""
        trials = self.trials.trials() if self.trials is not None else []
        return [t for t in trials if t.start_ns < end_ns and (t.end_ns is None or t.end_ns > start_ns)]

    def _notes(self, start_ns: int, end_ns: int) -> list[TrialNote]:
        if self.trials is None:
            return []
        notes = [n for t in self._touched(start_ns, end_ns) for n in self.trials.notes(t.id)]
        return [n for n in notes if start_ns <= n.time_ns < end_ns]

    def _still_asked(self, now_ns: int) -> dict[str, str]:
        """What was asked for and not taken yet; forgotten when the rules do not answer for long."""
        self._asked = {k: v for k, v in self._asked.items() if 0 <= now_ns - v[0] < ASKED_NS}
        for entry in self.journal.entries(now_ns - ASKED_NS, None, (EntryKind.TRANSITION, EntryKind.REFUSED)):
            asked = self._asked.get(alarm_key(entry.rule, entry.subject))
            if asked is not None and entry.time_ns >= asked[0]:
                del self._asked[alarm_key(entry.rule, entry.subject)]
        return {k: words for k, (_, words) in self._asked.items()}

    def _marks(self, now_ns: int) -> tuple[tuple[Mark, ...], str]:
        """The marks that may still be taken back, and what was not done lately and why."""
        notes = self.journal.entries(now_ns - UNDO_NS, None, (EntryKind.NOTE,), MARKS_READ)
        marks = tuple(
            Mark(int(e.data["act"]), str(e.data["text"]), clock_text(e.time_ns, self.zone, seconds=False))
            for e in standing_marks(notes)
        )
        refused = self.journal.entries(now_ns - REFUSAL_SHOWN_NS, None, (EntryKind.REFUSED,), 1)
        said = f"Not done: {refused[-1].data.get('reason', '')}." if refused else ""
        return marks[-3:], said

    def _trial_words(self) -> str:
        trial = self.trials.under_way() if self.trials is not None else None
        return "No trial is open" if trial is None else f"Trial {_trial_words(trial.name, trial.code_name)}"


def _trial_words(name: str, code_name: str) -> str:
    return f"{name} “{code_name}”" if code_name else name


def _wiper_words(now: Now) -> str:
    wiper = now.of("filter.wiper.state")
    return WIPER_STATES.get(int(wiper.value), "not known") if wiper.known else wiper.why


def _age_words(now: Now) -> str:
    if not now.newest_arrival_ns:
        return "no data yet"
    age_s = max(0.0, (now.now_ns - now.newest_arrival_ns) / NS)
    return "newest data less than 2 s old" if age_s < 2 else f"newest data {duration_text(age_s)} old"
