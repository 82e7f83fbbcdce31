"""Stored trials: a store's folder or a Parquet file, with the truth and what people told beside it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from historian.errors import WrongInput
from historian.frame import Frame
from historian.tags import Tag
from meltledger.backtesting.parquet import frame_of, tags_of
from meltledger.stores import open_folder
from rules.backtest.lots import by_source_time
from rules.backtest.truth import Truth, read_truth
from rules.entry import ActKind
from rules.journal import Journal
from rules.seen.told import Told, told_by

_RECENT: Final = "recent.db"
_SUFFIX: Final = ".parquet"
_TOLD: Final = ("people", "laboratory")


@dataclass(frozen=True, slots=True)
class Trial:
    """A stored trial, open.

    Attributes:
        tags: every tag by path.
        frames: gives its frames with their arrival numbers, in order of arrival; may be asked again.
        told: what people marked and the laboratory found.
        truth: what really went wrong; None where no file says it.
    """

    tags: Mapping[str, Tag]
    frames: Frames
    told: Sequence[Told]
    truth: Sequence[Truth] | None


class Frames:
    """Frames that can be asked for more than once."""

    def __init__(self, store_folder: Path | None, frame: Frame | None = None) -> None:
        self._folder, self._frame = store_folder, frame

    def __iter__(self) -> Iterator[tuple[int, Frame]]:
        if self._frame is not None:
            yield from by_source_time(self._frame)
        if self._folder is not None:
            with closing(open_folder(self._folder)) as store:
                yield from store.frames()


def archives(places: Sequence[Path]) -> list[Path]:
    """The trials that the places hold, each once: a place is a trial itself, or a folder of trials.

    A place that is neither is given back as it is: opening it says what is wrong with it.
    """
    found: dict[Path, None] = {}
    for place in places:
        inside = sorted(p for p in place.iterdir() if _is_trial(p)) if place.is_dir() else []
        for one in [place] if _is_trial(place) or not inside else inside:
            found[one] = None
    return list(found)


def opened(archive: Path) -> AbstractContextManager[Trial]:
    """A stored trial.

    Raises:
        WrongInput: there is none, or the truth beside it is wrong; naming file and remedy.
        StoredDataDamaged: naming the file.
    """
    return _parquet(archive) if archive.suffix == _SUFFIX else _store(archive)


def _is_trial(place: Path) -> bool:
    if place.is_dir():
        return (place / _RECENT).exists() or (place / "archive").is_dir()
    return place.suffix == _SUFFIX and place.exists()


@contextmanager
def _store(folder: Path) -> Iterator[Trial]:
    if not folder.is_dir():
        raise WrongInput(f"{folder}: there is no stored trial here; name a store's folder or a .parquet file")
    with closing(open_folder(folder)) as store:
        tags = store.tags()
    told = [*_events(folder / "events.json"), *_marks(folder / "journal.db")]
    yield Trial(tags, Frames(folder), told, _truth(folder / "truth.json"))


@contextmanager
def _parquet(file: Path) -> Iterator[Trial]:
    tags = tags_of(file)
    truth, events = file.with_suffix(".truth.json"), file.with_suffix(".events.json")
    yield Trial(tags, Frames(None, frame_of(file, tags)), _events(events), _truth(truth))


def _truth(file: Path) -> list[Truth] | None:
    return read_truth(_text(file), where=str(file)) if file.exists() else None


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise WrongInput(f"{file}: cannot be read as UTF-8 text ({error})") from error


def _events(file: Path) -> list[Told]:
    """What people and the laboratory told, from the file that a simulated trial has beside it."""
    if not file.exists():
        return []
    try:
        listed = json.loads(_text(file))
        events = [event for who in _TOLD for event in listed.get(who, ())]
        return [t for e in events for t in told_by(int(e["time_ns"]), str(e["kind"]), e.get("data") or {})]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise WrongInput(
            f"{file}: is no list of what people told ({error!r}); mend it or take it away"
        ) from error


def _marks(file: Path) -> list[Told]:
    """What people marked, from the journal of a line that ran."""
    if not file.exists():
        return []
    with closing(Journal.open(file, mode="read")) as journal:
        return [Told(a.time_ns, a.text) for a in journal.acts_after(0) if a.what is ActKind.MARK]
