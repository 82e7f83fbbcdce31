"""A journal as a line would have written it, for the tests of the digest: findings, the life cycle, people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from historian.frame import NS
from rules.digest import SHIFT, Digest, Period, digest_of
from rules.digest.hours import Worn
from rules.entry import Entry, EntryKind, plain
from rules.finding import Blind, Evidence, Finding, Priority
from rules.lifecycle import LifeCycle, Transition

MADRID = ZoneInfo("Europe/Madrid")


def at(text: str) -> int:
    """A time on Madrid's clock, such as "2026-11-25 06:00", UTC nanoseconds."""
    return int(datetime.fromisoformat(text).replace(tzinfo=MADRID).astimezone(UTC).timestamp()) * NS


EARLY = Period(SHIFT, at("2026-11-25 06:00"), at("2026-11-25 14:00"))
LATE = Period(SHIFT, at("2026-11-25 14:00"), at("2026-11-25 22:00"))
NIGHT = Period(SHIFT, at("2026-11-25 22:00"), at("2026-11-26 06:00"))


class Told:
    """Writes entries in the order of their times."""

    def __init__(self) -> None:
        self.cycle = LifeCycle()
        self.entries: list[Entry] = []
        self._acts = 0

    def found(
        self, clock: str, active: bool = True, *, rule: str = "heater-power", subject: str = "filter.plate.5",
        priority: Priority = Priority.MEDIUM, sentence: str = "Plate 5 is cold at full output.",
        advice: str = "An electrician looks at it at a stop.", onset: str | None = None, momentary: bool = False,
        late: bool = False, root: tuple[str, str] | None = None,
        figures: Mapping[str, tuple[float, str]] | None = None,
    ) -> None:  # fmt: skip
        """A rule says that a condition began or ended."""
        time_ns = at(clock)
        onset_ns = time_ns if onset is None else at(onset)
        shown = {"own output": (100.0, "%")} if figures is None else figures
        seen = Evidence(onset_ns, time_ns, (f"{subject}.temp.pv",), shown)
        words = (sentence, advice, seen, momentary, late)
        one = Finding(rule, subject, active, time_ns, onset_ns, priority, *words)
        self._keep(EntryKind.FINDING, time_ns, rule, subject, "rules", one.to_json())
        self._moved(time_ns, self.cycle.finding(one, time_ns, root))

    def spell(self, start: str, end: str | None, **more: object) -> None:
        """The condition held from one time to the other."""
        self.found(start, **more)  # type: ignore[arg-type]
        if end is not None:
            self.found(end, False, **more)  # type: ignore[arg-type]

    def began_anew(self, clock: str) -> None:
        """The rules lost what they knew."""
        self._moved(at(clock), self.cycle.begin_anew(at(clock)))

    def regrouped(self, clock: str) -> None:
        """No alarm is a consequence any more."""
        self._moved(at(clock), [m for m in self.cycle.group({}, at(clock)) if isinstance(m, Transition)])

    def note(
        self, clock: str, text: str, *, what: str = "note", subject: str = "", by: str = "", reason: str = ""
    ) -> int:
        """A person's note, mark or repair."""
        self._acts += 1
        data = {"act": self._acts, "what": what, "role": "operator", "reason": reason, "text": text}
        self._keep(EntryKind.NOTE, at(clock), "", subject, by or "B. Roe", data)
        return self._acts

    def repaired(
        self, clock: str, part: str = "filter.plate.5", *, by: str = "A. Doe", text: str = "new cartridge"
    ) -> None:
        self.note(clock, text, what="repaired", subject=part, by=by)

    def shelved(self, clock: str, rule: str, subject: str, reason: str) -> None:
        data = {"act": 0, "what": "shelve", "role": "operator", "reason": reason, "text": ""}
        self._keep(EntryKind.ACT, at(clock), rule, subject, "B. Roe", data)

    def blind(self, rule: str, start: str, end: str, why: str, subject: str = "") -> None:
        data = Blind(rule, subject, at(start), at(end), why).to_json()
        self._keep(
            EntryKind.EVENT, at(end), rule, subject, "rules", {"kind": "rule-blind", "text": "", "data": data}
        )

    def event(self, clock: str, kind: str, rule: str = "") -> None:
        self._keep(EntryKind.EVENT, at(clock), rule, "", "edge", {"kind": kind, "text": "", "data": {}})

    def digest(self, period: Period = EARLY, **more: object) -> Digest:
        """The digest of a period, of all that was told."""
        about = {"line": "pilot-2", "zone": "Europe/Madrid", "judged": 46, **more}
        return digest_of(self.ordered(), period, **about)  # type: ignore[arg-type]

    def ordered(self) -> list[Entry]:
        return sorted(self.entries, key=lambda e: e.time_ns)

    def _moved(self, time_ns: int, moves: Sequence[Transition]) -> None:
        for move in moves:
            self._keep(EntryKind.TRANSITION, time_ns, move.rule, move.subject, "rules", move.to_json())

    def _keep(
        self, kind: EntryKind, time_ns: int, rule: str, subject: str, by: str, data: Mapping[str, object]
    ) -> None:
        key = f"{time_ns // NS}/{kind}/{rule}/{subject}/{len(self.entries)}"
        self.entries.append(Entry(key, time_ns, kind, rule, subject, by, plain(data)))


def a_day() -> Told:
    """An early shift in which a good deal happened."""
    told = Told()
    told.spell("2026-11-23 09:10", "2026-11-23 11:00")
    told.repaired("2026-11-23 15:00")
    told.spell("2026-11-25 08:12", "2026-11-25 09:40")
    told.spell("2026-11-25 11:02", None, sentence="Plate 5 is 14 K below its set-point at full output.")
    told.spell(
        "2026-11-25 11:10", None, rule="plates-uneven", subject="filter.plate", priority=Priority.LOW,
        sentence="The plates differ by 14 K.", root=("heater-power", "filter.plate.5"),
    )  # fmt: skip
    told.spell(
        "2026-11-25 12:30", "2026-11-25 12:34", rule="wiper-slipping", subject="filter.wiper",
        priority=Priority.HIGH, sentence="The wiper turns and the pressure does not fall.",
        advice="Whether to stop is the shift leader's decision.", figures={"torque": (12.0, "%")},
    )  # fmt: skip
    told.spell(
        "2026-11-20 10:00", None, rule="pressure-zero", subject="filter.inlet.pressure", priority=Priority.LOW,
        sentence="Reads 2.1 bar while the line stands: not proof; trapped pressure is possible.",
        advice="Have the sensor checked.", figures={"reading": (2.1, "bar")},
    )  # fmt: skip
    told.note("2026-11-25 07:00", "screen changed", what="mark")
    told.note("2026-11-25 13:15", "blade looked at through the port, no damage seen")
    told.shelved("2026-11-25 11:30", "plates-uneven", "filter.plate", "known, see plate 5")
    told.repaired("2026-11-25 13:20", "pelletizer.knife", text="new set")
    told.blind("cleaning-weak", "2026-11-25 06:00", "2026-11-25 07:40", "melt stands")
    told.blind("wiper-stalled", "2026-11-25 06:00", "2026-11-25 07:40", "melt stands")
    told.blind(
        "heater-weak", "2026-11-25 09:00", "2026-11-25 09:30", "no current is measured", "filter.plate.3"
    )
    return told


def a_full_digest() -> Digest:
    """The digest of that shift."""
    worn = [
        Worn("filter.screen", 6.25, at("2026-11-25 07:00"), "41 cleanings, by the machine's own counter"),
        Worn("filter.wiper.blade", None),
        Worn("pelletizer.knife", 0.6, at("2026-11-25 13:20")),
        Worn("filter.plate.5", 41.0, at("2026-11-23 15:00")),
        Worn("filter.plate.*", None),
        Worn("filter.plate.*.temp", None),
    ]
    numbers = {"filter.plate.5": "HP-24-220"}
    return a_day().digest(
        worn=worn,
        number_of=lambda part: numbers.get(part, ""),
        not_judged={"knife-worn": "the line lacks signals or facts that it needs"},
        unrecorded=[(at("2026-11-25 10:00"), at("2026-11-25 10:05"))],
    )
