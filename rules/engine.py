"""Judges frames second by second, live and again later, with the same journal as the result.

How it works. Frames come in order of arrival and are cut into whole seconds of arrival time. A second is
judged when it is over: when a frame of a later second comes, or when ``advance`` says that the time has
passed. A second without frames is judged (as one in which nothing came) once the next frame shows that the
recorder was running: when that frame came within ten seconds of the one before. What is judged, and when,
therefore follows from the frames alone, not from how often ``advance`` was called; a running line sends an
empty frame every second.

In each second: samples in order go to the live detectors, then time passes for them; what they found is laid
under its roots, in whatever order they found it; late samples go to detectors of their own; then people's
acts are taken; then shelves whose time is over end; then consequences whose root is over are announced.

Pure: no clock, no disk. Entries are collected and handed out by ``advance``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from historian.errors import StoredDataDamaged, WrongInput
from historian.frame import NS, Frame
from historian.tags import Tag
from rules.entry import Act, ActKind, Entry, EntryKind, plain
from rules.finding import Blind, Finding
from rules.grouping import Grouping, Name
from rules.intake import Intake
from rules.lane import Judged, Lane, LateLane, MakeDetectors, Stopped
from rules.lifecycle import LifeCycle, Refusal, Transition
from rules.seen.told import Told
from rules.table import RULES
from rules.table.rule import Rule
from rules.telling import words_of_blind, words_of_set_back, words_of_stop, words_of_straggler

GAP_NS = 10 * NS
SNAPSHOT_VERSION = 1


class Engine:
    """One line's rules at work.

    Args:
        tags: every tag of the line by path, with its number in the store.
        make_detectors: makes a fresh set of the line's detectors, in the same order each time.
        latching: names of rules whose alarms stay until reset.
        about: the rules' table, for which alarm is a consequence of which.
    """

    def __init__(
        self,
        tags: Mapping[str, Tag],
        make_detectors: MakeDetectors,
        *,
        latching: Collection[str] = (),
        about: Mapping[str, Rule] = RULES,
    ) -> None:
        self.lifecycle = LifeCycle(latching)
        self._grouping = Grouping(about, tags)
        self.seq = 0  # number of the last frame that was judged
        self._intake = Intake(tags)
        self._make = make_detectors
        self._live = Lane(make_detectors)
        self._late = LateLane(make_detectors)
        self._second: int | None = None  # the last second that was judged
        self._judged_arrival_ns: int | None = None
        self._open: list[Frame] = []
        self._open_second = 0
        self._fed_seq = 0
        self._fed_arrival_ns: int | None = None
        self._scheduled: list[tuple[int, Act]] = []
        self._waiting: list[Act] = []
        self._known_acts: set[int] = set()
        self._acts_from = 0
        self._counts: Counter[tuple[EntryKind, str, str]] = Counter()
        self._out: list[Entry] = []

    def feed(self, seq: int, frame: Frame) -> None:
        """Take the next frame in order of arrival; one that was fed already is passed over.

        Args:
            seq: the frame's arrival number in the store.
        """
        if seq <= self._fed_seq:
            return
        before_ns = self._fed_arrival_ns
        arrival_ns = frame.arrival_ns if before_ns is None else max(frame.arrival_ns, before_ns)
        second = arrival_ns // NS
        if self._open and second > self._open_second:
            self._judge(self._open_second)
        if self._second is not None and before_ns is not None:
            if second <= self._second:
                self._tell_of_straggler(seq, second)
                second = self._second + 1
            elif arrival_ns - before_ns <= GAP_NS:
                for empty in range(self._second + 1, second):
                    self._judge(empty)
        self._open.append(frame)
        self._open_second = second
        self._fed_seq, self._fed_arrival_ns = seq, arrival_ns

    def act(self, act: Act) -> None:
        """Take a new act in the next second that is judged, but not before the second in which it was made.

        Raises:
            WrongInput: the act has no number in the journal yet.
        """
        if act.id < 1:
            raise WrongInput(
                f"the act '{act.what}' of {act.by} has no number: the journal must record it first"
            )
        if act.id not in self._known_acts:
            self._known_acts.add(act.id)
            self._waiting.append(act)

    def schedule(self, act: Act, second: int) -> None:
        """Take an act in the very second in which it was taken before.

        Args:
            second: as its entry ``act-taken`` says; nothing happens when it has been judged already.
        """
        if act.id in self._known_acts:
            return
        self._known_acts.add(act.id)
        if self._second is None or second > self._second:
            self._scheduled.append((second, act))

    def hold_acts(self, until_second: int) -> None:
        """Take no new act before this second: the earlier ones stand in the journal without it."""
        self._acts_from = until_second

    def tell(self, told: Told) -> None:
        """Hand the rules what somebody told by another way than an act: the laboratory's results."""
        self._live.tell(told)

    def advance(self, now_ns: int) -> list[Entry]:
        """Judge the open second if it is over, and give every entry since the last call.

        Args:
            now_ns: no frame that is fed from now on arrived before this time.
        """
        if self._open and now_ns >= (self._open_second + 1) * NS:
            self._judge(self._open_second)
        out, self._out = self._out, []
        return out

    def save(self) -> dict[str, Any]:
        """The state after the last judged second, as JSON types.

        To go on: ``restore`` it, schedule the acts that were taken, feed the frames after ``seq``.
        """
        state = {
            "version": SNAPSHOT_VERSION,
            "seq": self.seq,
            "second": self._second,
            "arrival_ns": self._judged_arrival_ns,
            "newest": self._intake.save(),
            "live": self._live.save(),
            "late": self._late.save(),
            "lifecycle": self.lifecycle.save(),
            "grouping": self._grouping.save(),
        }
        made: dict[str, Any] = plain(state)
        return made

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave; a fresh engine only.

        A rule whose saved state no longer fits is stopped and named in an entry.

        Raises:
            StoredDataDamaged: the state was saved by another version.
        """
        if state.get("version") != SNAPSHOT_VERSION:
            raise StoredDataDamaged(
                f"the rules' saved state has version {state.get('version')}, this program reads "
                f"{SNAPSHOT_VERSION}: judge the stored frames from the start"
            )
        self.seq = self._fed_seq = state["seq"]
        self._second = state["second"]
        self._judged_arrival_ns = self._fed_arrival_ns = state["arrival_ns"]
        self._intake.restore(state["newest"])
        self.lifecycle.restore(state["lifecycle"])
        self._grouping.restore(state.get("grouping", ()))  # not there before alarms were grouped
        for stopped in [*self._live.restore(state["live"]), *self._late.restore(state["late"])]:
            self._tell_of_stop(stopped, self._second or 0)
        self._grouping.keep_only(self._live.rules, ((self._second or 0) + 1) * NS)

    def _judge(self, second: int) -> None:
        """Judge one second: with the open frames if it is theirs, else as one in which nothing came."""
        frames, end_ns = [], (second + 1) * NS
        if self._open and second == self._open_second:
            frames, self._open = self._open, []
            self.seq, self._judged_arrival_ns = self._fed_seq, self._fed_arrival_ns
        self._second = second
        self._counts.clear()
        if frames:
            intake = self._intake.split(frames)
            if intake.set_back:
                self._begin_anew(intake.set_back, second)
            self._live.hear(intake.late)
            found = [*self._live.update(intake.in_order), *self._live.advance(end_ns)]
            self._take(found, second, self._roots_with(found, end_ns))
            self._take(self._late.update(intake.late), second)
        else:
            found = list(self._live.advance(end_ns))
            self._take(found, second, self._roots_with(found, end_ns))
        for act in self._due(second):
            self._tell(second, EntryKind.ACT_TAKEN, end_ns, act.rule, act.subject, act.by, {"act": act.id})
            if act.what is ActKind.MARK:
                self._live.tell(Told(act.time_ns, act.text))
            self._moved(self.lifecycle.act(act, end_ns), second)
        self._moved(self.lifecycle.advance(end_ns), second)
        self._moved(self.lifecycle.group(self._roots(end_ns), end_ns), second)

    def _roots_with(self, found: Iterable[Judged], at_ns: int) -> Mapping[Name, Name]:
        """Which alarms are consequences once all that was found in this second is known."""
        for one in found:
            if isinstance(one, Finding):
                self._grouping.take(one, at_ns)
        return self._roots(at_ns)

    def _roots(self, at_ns: int) -> Mapping[Name, Name]:
        return self._grouping.roots(at_ns, self.lifecycle.out_of_service())

    def _begin_anew(self, paths: tuple[str, ...], second: int) -> None:
        """Fresh live detectors: the old ones cannot judge times that repeat; what holds is found again."""
        self._live = Lane(self._make)
        self._grouping.begin_anew()
        self._event(second, "", "clock-set-back", words_of_set_back(paths[0]), {"tags": paths})
        self._moved(self.lifecycle.begin_anew((second + 1) * NS), second)

    def _due(self, second: int) -> list[Act]:
        """The acts that are taken in this second, in the order of their numbers."""
        again = [a for s, a in self._scheduled if s <= second]
        self._scheduled = [(s, a) for s, a in self._scheduled if s > second]
        new = [a for a in self._waiting if second >= max(self._acts_from, a.time_ns // NS)]
        self._waiting = [a for a in self._waiting if a not in new]
        return sorted([*again, *new], key=lambda a: a.id)

    def _take(self, judged: Iterable[Judged], second: int, roots: Mapping[Name, Name] | None = None) -> None:
        """Write down what the detectors said and hand it to the life cycle, each alarm under its root."""
        for one in judged:
            if isinstance(one, Stopped):
                self._tell_of_stop(one, second)
                continue
            if isinstance(one, Blind):
                self._tell_of_blind(one, second)
                continue
            self._tell(second, EntryKind.FINDING, one.time_ns, one.rule, one.subject, "rules", one.to_json())
            root = (roots or {}).get((one.rule, one.subject))
            self._moved(self.lifecycle.finding(one, (second + 1) * NS, root), second)

    def _moved(self, changes: Iterable[Transition | Refusal], second: int) -> None:
        for change in changes:
            if isinstance(change, Refusal):
                act = change.act
                data = {"act": act.id, "what": act.what, "reason": change.reason}
                name = (change.time_ns, act.rule, act.subject, act.by)
                self._tell(second, EntryKind.REFUSED, *name, data)
            else:
                name = (change.time_ns, change.rule, change.subject, change.by)
                self._tell(second, EntryKind.TRANSITION, *name, change.to_json())

    def _tell_of_stop(self, stopped: Stopped, second: int) -> None:
        if not stopped.late:
            self._grouping.rule_stopped(stopped.rule, (second + 1) * NS)
        data = {"tags": stopped.tags, "reason": stopped.reason}
        self._event(second, stopped.rule, "rule-stopped", words_of_stop(stopped), data)

    def _tell_of_blind(self, blind: Blind, second: int) -> None:
        content = {"kind": "rule-blind", "text": words_of_blind(blind), "data": blind.to_json()}
        name = (blind.time_ns, blind.rule, blind.subject, "rules")
        self._tell(second, EntryKind.EVENT, *name, content)

    def _tell_of_straggler(self, seq: int, second: int) -> None:
        self._event(self._second or 0, "", "frame-straggled", words_of_straggler(seq, second), {"seq": seq})

    def _event(self, second: int, rule: str, kind: str, text: str, data: Mapping[str, Any]) -> None:
        content = {"kind": kind, "text": text, "data": data}
        self._tell(second, EntryKind.EVENT, (second + 1) * NS, rule, "", "rules", content)

    def _tell(
        self,
        second: int,
        kind: EntryKind,
        time_ns: int,
        rule: str,
        subject: str,
        by: str,
        data: Mapping[str, Any],
    ) -> None:
        n = self._counts[kind, rule, subject]
        self._counts[kind, rule, subject] += 1
        key = f"{second}/{kind}/{rule}/{subject}/{n}"
        self._out.append(Entry(key, int(time_ns), kind, rule, subject, by, plain(data)))
