"""From the inbox to the disk, and only then to the judge."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Protocol, TypeVar

import structlog

from collector.clock import Clock
from collector.health.watch import Watch
from collector.keeping.backlog import Backlog
from collector.keeping.inbox import LIMIT, Inbox
from collector.trouble import Trouble
from historian.errors import MeltledgerError
from historian.event import Event, EventSink
from historian.frame import NS, Frame
from historian.quality import GOOD, NO_DATA
from historian.store import Store
from historian.tags import Tag, TagKind

HEARTBEAT = Tag(
    "edge.heartbeat.state",
    "1",
    TagKind.BOOLEAN,
    "collector running",
    codes={0: "stopped", 1: "running"},
    source="edge",
)

_EVENTS = 10_000  # held while the sink does not take them
_UNJUDGED = 10_000  # frames held for the judge; beyond that they are read back from the store

_T = TypeVar("_T")

_log = structlog.get_logger(__name__)


class Judge(Protocol):
    """Judges frames in the order of their arrival numbers; called on the writer's thread only.

    ``feed`` and ``advance`` either do their work or raise a MeltledgerError and can be called again.
    """

    def feed(self, seq: int, frame: Frame) -> None:
        """Take a frame that is on disk."""
        ...

    def advance(self, now_ns: int) -> None:
        """Arrival time has come this far."""
        ...


class Writer:
    """Cuts the inbox every ``flush_s``, keeps the frames, has them judged, hands events on.

    Cutting runs on the event loop, so arrival times are true even while a disk hangs; storing, judging and
    the sink run on one thread of their own.

    Args:
        store: keeps the frames.
        inbox: where samples come from.
        judge: is fed what is on disk.
        clock: the edge's.
        sink: where events go; called on the writer's thread.
        flush_s: time between cuts.
        limit: samples kept in memory while the store does not take them.
        watch: looks at every cut, for the health of the line.
    """

    def __init__(
        self,
        store: Store,
        inbox: Inbox,
        judge: Judge,
        clock: Clock,
        sink: EventSink,
        flush_s: float = 0.5,
        *,
        limit: int = LIMIT,
        watch: Watch | None = None,
    ) -> None:
        self._watch = watch
        self._store, self._inbox, self._judge = store, inbox, judge
        self._clock, self._sink, self._flush_s = clock, sink, flush_s
        self._limit = limit
        self._backlog = Backlog(limit)
        self._unjudged: deque[tuple[int, Frame]] = deque()
        self._behind: int | None = None
        self._judged_ns = 0
        self._untold: deque[Event] = deque()
        self._storing = Trouble("Samples cannot be stored", "store-trouble", "disk-back")
        self._judging = Trouble("Samples are stored but cannot be judged", "judge-trouble", "judge-back")
        self._telling = Trouble("Events cannot be written", "sink-trouble", "sink-back")
        self._heartbeat = store.register([HEARTBEAT])[HEARTBEAT.path].id
        self._last_beat = store.latest([HEARTBEAT.path]).get(HEARTBEAT.path)
        self._beat_ns = self._stored_ns = 0
        self._cut_once = asyncio.Event()
        self._hurried = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._worker: ThreadPoolExecutor | None = None
        self._make_judge: Callable[[], Judge] | None = None

    @property
    def waiting(self) -> int:
        """Samples that are not on disk yet."""
        return self._backlog.samples

    async def on_thread(self, work: Callable[[], _T]) -> _T:
        """Do something with the store between two steps; only while ``run`` runs.

        Raises:
            what the work raises.
        """
        if self._loop is None:
            raise RuntimeError("the writer does not run")
        return await self._loop.run_in_executor(self._worker, work)

    def judge_anew(self, make: Callable[[], Judge]) -> None:
        """Let another judge go on, made on the writer's thread before the next step.

        Args:
            make: gives a judge that has taken what is stored; while it raises a MeltledgerError the old one
                goes on, and it is tried again.
        """
        self._make_judge = make

    async def run(self) -> None:
        """Work until cancelled; then keep what is still there, with a heartbeat of 0."""
        loop = self._loop = asyncio.get_running_loop()
        self._inbox.on_hurry(partial(loop.call_soon_threadsafe, self._hurried.set))
        with ThreadPoolExecutor(1, "meltledger-writer") as worker:
            self._worker = worker
            try:
                async with asyncio.TaskGroup() as group:
                    group.create_task(self._cutting())
                    group.create_task(self._keeping(worker))
            finally:
                self._inbox.on_hurry(None)
                self._cut(stopping=True)
                await asyncio.shield(loop.run_in_executor(worker, self._last))

    async def _cutting(self) -> None:
        while True:
            self._cut()
            self._cut_once.set()
            due = asyncio.get_running_loop().call_later(self._flush_s, self._hurried.set)
            try:
                await self._hurried.wait()
            finally:
                due.cancel()
            self._hurried.clear()

    async def _keeping(self, worker: ThreadPoolExecutor) -> None:
        while True:
            await self._cut_once.wait()
            self._cut_once.clear()
            await asyncio.get_running_loop().run_in_executor(worker, self._step)

    def _cut(self, *, stopping: bool = False) -> None:
        frames = self._inbox.cut(self._clock.now_ns(), last=stopping)
        arrival_ns = self._inbox.arrival_ns
        if stopping or arrival_ns - self._beat_ns >= NS:
            frames.extend(self._beats(arrival_ns, 0.0 if stopping else 1.0))
        if self._watch is not None and not stopping:
            frames.extend(self._watch.cut(arrival_ns, self.waiting, self._stored_ns))
        self._untold.extend(self._inbox.events())
        if (over := len(self._untold) - _EVENTS) > 0:
            _log.error("events_dropped", n=over)
            for _ in range(over):
                self._untold.popleft()
        self._backlog.add(frames, arrival_ns, self._inbox.receipts())

    def _beats(self, arrival_ns: int, value: float) -> list[Frame]:
        """The heartbeat; before the first one, the end of a run that was not stopped in order."""
        frames: list[Frame] = []
        if self._beat_ns == 0:
            old = self._last_beat
            if old is not None and old.value == 1.0 and old.time_ns < arrival_ns:
                frames.append(self._beat(old.time_ns + 1_000_000, float("nan"), NO_DATA, arrival_ns))
        self._beat_ns = arrival_ns
        return [*frames, self._beat(arrival_ns, value, GOOD, arrival_ns)]

    def _beat(self, time_ns: int, value: float, quality: int, arrival_ns: int) -> Frame:
        return Frame.of([self._heartbeat], [time_ns], [value], [quality], arrival_ns=arrival_ns)

    def _step(self) -> None:
        """Store, judge, tell: each as far as it gets."""
        now_ns = self._clock.now_ns()
        arrival_ns = self._backlog.cut_ns
        if self._storing.ready(now_ns):
            self._store_all(now_ns)
        if self._judging.ready(now_ns):
            self._judge_all(now_ns, arrival_ns)
        if self._telling.ready(now_ns):
            self._tell_all(now_ns)

    def _last(self) -> None:
        """The last step: one try at everything, and a word about what stays behind."""
        now_ns = self._clock.now_ns()
        self._store_all(now_ns)
        self._judge_all(now_ns, self._backlog.cut_ns)
        self._tell_all(now_ns)
        if self._backlog.samples or self._untold:
            _log.error("stopped_with_loss", samples=self._backlog.samples, events=len(self._untold))

    def _store_all(self, now_ns: int) -> None:
        cut_ns = self._backlog.cut_ns
        while frames := self._backlog.take():
            try:
                last = self._store.append(*frames)
            except MeltledgerError as error:
                self._backlog.put_back()
                note = (
                    f"They are kept in memory, up to {self._limit} of them, and tried again; "
                    "judging waits for them."
                )
                self._say(self._storing.failed(error, now_ns, note))
                return
            dropped = self._backlog.done()
            self._receipt()
            self._to_judge(frames, last)
            if dropped:
                self._say(dropped.event(now_ns, f"more than {self._limit} waited for the disk"))
            self._say(self._storing.over(now_ns, "What had waited is stored."))
        self._stored_ns = cut_ns
        # Of a cut that held nothing new there is no frame, but what it held is on disk all the same.
        self._receipt()

    def _receipt(self) -> None:
        """Tell those who wait for it that what they sent is on disk."""
        if self._loop is not None and (due := self._backlog.due()):
            self._loop.call_soon_threadsafe(_call_all, due)

    def _to_judge(self, frames: list[Frame], last: int) -> None:
        """Let stored frames wait for the judge; when they are too many, remember only where to read on."""
        if self._behind is None:
            self._unjudged.extend(enumerate(frames, last - len(frames) + 1))
        if len(self._unjudged) > _UNJUDGED:
            self._behind = self._unjudged[0][0] - 1
            self._unjudged.clear()

    def _judge_all(self, now_ns: int, arrival_ns: int) -> None:
        try:
            if self._make_judge is not None:
                self._judge, self._make_judge = self._make_judge(), None
            if self._behind is not None:
                for seq, frame in self._store.frames(self._behind):
                    self._feed(seq, frame)
                    self._behind = seq
                self._behind = None
            while self._unjudged:
                self._feed(*self._unjudged[0])
                self._unjudged.popleft()
            if not self._storing.open:
                self._judge.advance(max(arrival_ns, self._judged_ns))
        except MeltledgerError as error:
            self._say(self._judging.failed(error, now_ns, "Judging goes on from there when it can."))
        else:
            self._say(self._judging.over(now_ns))

    def _feed(self, seq: int, frame: Frame) -> None:
        self._judge.feed(seq, frame)
        self._judged_ns = frame.arrival_ns

    def _tell_all(self, now_ns: int) -> None:
        try:
            while self._untold:
                self._sink(self._untold[0])
                self._untold.popleft()
        except MeltledgerError as error:
            self._say(self._telling.failed(error, now_ns, "They are kept in memory and tried again."))
        else:
            self._say(self._telling.over(now_ns))

    def _say(self, event: Event | None) -> None:
        """Log what goes wrong at once, and leave the event for the sink."""
        if event is not None:
            _log.warning("writer_told", kind=event.kind, text=event.text)
            self._untold.append(event)


def _call_all(receipts: Iterable[Callable[[], None]]) -> None:
    for receipt in receipts:
        receipt()
