"""Reads a running line's file again: what changed takes effect, what did not is left alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import structlog

from collector import Inbox, Roster, Watch, Writer, newest_epochs, newest_samples
from collector.clock import Clock
from historian.errors import MeltledgerError
from historian.event import Event
from historian.tags import Tag
from meltledger.config import LineConfig, load
from meltledger.judge import LiveJudge
from meltledger.measured import all_tags
from meltledger.parts import Parts, engine_of
from meltledger.sources import source_mappings, sources_of

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Changes:
    """What is different in a line's file.

    Attributes:
        stopped: sources that are to end: gone, or to be started anew.
        started: sources that are to begin: new, or changed.
        judged: whether the rules have to be made anew.
        at_restart: sections whose change takes a restart.
    """

    stopped: tuple[str, ...] = ()
    started: tuple[str, ...] = ()
    judged: bool = False
    at_restart: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.stopped or self.started or self.judged or self.at_restart)

    def text(self) -> str:
        """One sentence for a person."""
        said = []
        anew = [n for n in self.started if n in self.stopped]
        for what, names in (
            ("connected anew", anew),
            ("added", [n for n in self.started if n not in anew]),
            ("taken out", [n for n in self.stopped if n not in anew]),
        ):
            if names:
                said.append(f"{what}: source {', '.join(names)}")
        if self.judged:
            said.append("the rules are made anew")
        if self.at_restart:
            sections = ", ".join(f"[{name}]" for name in self.at_restart)
            said.append(f"{sections} changed, which takes effect when `meltledger run` is started again")
        return "; ".join(said) or "nothing in it changed"


def changes(old: LineConfig, new: LineConfig) -> Changes:
    """What is different between two readings of a line's file."""
    before = {s.name: s for s in old.file.source}
    after = {s.name: s for s in new.file.source}
    stopped = tuple(n for n, s in before.items() if after.get(n) != s)
    started = tuple(n for n, s in after.items() if before.get(n) != s)
    sections = ("line", "store", "journal", "metrics", "digest")
    return Changes(
        stopped,
        started,
        judged=old.facts != new.facts or {t.path for t in old.tags} != {t.path for t in new.tags},
        at_restart=tuple(s for s in sections if getattr(old.file, s) != getattr(new.file, s)),
    )


class Reload:
    """A running line that can take its file anew.

    Args:
        config: the line as it runs.
        parts: its open store, journal and trial record.
    """

    def __init__(
        self,
        config: LineConfig,
        parts: Parts,
        inbox: Inbox,
        roster: Roster,
        writer: Writer,
        watch: Watch,
        clock: Clock,
    ) -> None:
        self.config = config
        self._parts, self._inbox, self._roster = parts, inbox, roster
        self._writer, self._watch, self._clock = writer, watch, clock

    async def again(self) -> None:
        """Read the file; a file with faults changes nothing, and is said."""
        try:
            new = load(self.config.path)
            if new.simulated != self.config.simulated:
                self._say("line-file-refused", "simulated and real sources are never mixed in one store", ())
                return
            different = changes(self.config, new)
            await self._take(new, different)
        except MeltledgerError as error:
            self._say("line-file-refused", str(error), str(error).splitlines())
            return
        self._say("line-file-read", different.text(), ())

    async def _take(self, new: LineConfig, different: Changes) -> None:
        tags = await self._writer.on_thread(lambda: self._parts.store.register(all_tags(new)))
        # Made before anything is stopped: a source that cannot work leaves the running ones alone.
        made = {s.name: s for s in sources_of(new, tags, self._clock, self._parts.journal)}
        self._watch.know(tags)
        await self._roster.stop(different.stopped)
        for name in different.stopped:
            self._inbox.lost(name)
        if different.judged:
            self._judge_anew(new, tags)
        mappings = [m for m in source_mappings(new) if m.name in different.started]
        latest = await self._writer.on_thread(lambda: newest_samples(self._parts.store, mappings))
        epochs = await self._writer.on_thread(
            lambda: newest_epochs(self._parts.store, mappings, self._parts.store.last_number())
        )
        for mapping in mappings:
            self._inbox.adopt(mapping, tags, latest, epochs.get(mapping.name, 0))
            self._roster.start(made[mapping.name])
        self.config = new

    def _judge_anew(self, new: LineConfig, tags: dict[str, Tag]) -> None:
        def judge() -> LiveJudge:
            made = LiveJudge(engine_of(new.facts, tags), self._parts.journal)
            made.catch_up(self._parts.store)
            return made

        self._writer.judge_anew(judge)

    def _say(self, kind: str, text: str, faults: Sequence[str]) -> None:
        words = "Line file refused, the line runs on as before" if faults or kind.endswith("refused") else ""
        text = f"{words or 'Line file read again'}: {text}."
        log.info("line_file", kind=kind, text=text)
        self._inbox.tell(Event(self._clock.now_ns(), "edge", kind, text, {"faults": list(faults)}))
