"""Opens the store that a line's file names: the only place that knows which kind it is."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Final, Literal

from historian.clocks.record import NAME as RECORD
from historian.clocks.record import ClockFix, read_record
from historian.clocks.retimed import Retimed
from historian.embedded.store import EmbeddedStore
from historian.errors import MeltledgerError, OutsideWorldAway, WrongInput
from historian.store import Store
from meltledger.config import LineConfig

if TYPE_CHECKING:
    from historian.influx import Place

_WAITING: Final = "waiting.db"
_PATIENCE_S: Final = 1.0
_PATIENT_S: Final = 60.0

Mode = Literal["write", "read"]


def open_store(
    config: LineConfig, *, mode: Mode = "write", patient: bool = False, as_stored: bool = False
) -> Store:
    """The line's store, open; a reader sees the clock offsets that people fixed.

    Args:
        as_stored: a reader sees the times that are stored instead.
        patient: a writer waits for a slow server, rather than leave what waits to the next run.

    Raises:
        WrongInput: there is none yet to read, or the file, its token or the database is wrong.
        OutsideWorldAway: the disk or the server does not answer.
        StoredDataDamaged: naming the file.
    """
    store = _opened(config, mode, patient)
    return store if mode == "write" or as_stored else Retimed(store, _Fixes(config.folder))


def open_folder(folder: Path) -> Store:
    """A store in a folder, whoever's line it is, open to be read as it is stored.

    Raises:
        WrongInput, StoredDataDamaged: naming the file.
    """
    return EmbeddedStore.open(folder, mode="read")


def _opened(config: LineConfig, mode: Mode, patient: bool) -> Store:
    store = config.file.store
    if store.kind == "embedded":
        return EmbeddedStore.open(config.folder, mode=mode, synchronous=store.synchronous)
    place = _place(config)
    from historian.influx import InfluxStore

    folder = config.folder if mode == "write" else None
    return InfluxStore.open(place, folder, mode=mode, patience_s=_PATIENT_S if patient else _PATIENCE_S)


@contextmanager
def store_or_none_yet(config: LineConfig) -> Iterator[Store]:
    """The line's store to read from, as stored; an empty one that goes away where no run has made it yet."""
    with ExitStack() as stack:
        if is_embedded(config) and not (config.folder / "recent.db").exists():
            folder = Path(stack.enter_context(TemporaryDirectory()))
            yield stack.enter_context(closing(EmbeddedStore.open(folder)))
        else:
            yield stack.enter_context(closing(open_store(config, mode="read", as_stored=True)))


class _Fixes:
    """The fixes that count, read anew when the record has changed."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._seen: tuple[int, int] | None = None
        self._fixes: tuple[ClockFix, ...] = ()

    def __call__(self) -> tuple[ClockFix, ...]:
        try:
            found = (self._folder / RECORD).stat()
        except OSError:
            return ()
        if self._seen != (seen := (found.st_mtime_ns, found.st_size)):
            self._fixes, self._seen = read_record(self._folder).fixes, seen
        return self._fixes


def left_waiting(config: LineConfig) -> str:
    """What a writer that is closed left on this host's disk for the server; empty when nothing."""
    if is_embedded(config) or not (config.folder / _WAITING).exists():
        return ""
    from historian.influx.waiting import Waiting

    with closing(Waiting.open(config.folder / _WAITING, config.facts.name)) as waiting:
        frames, samples, _ = waiting.length()
    if not frames:
        return ""
    return f"{samples} samples wait in {config.folder} for the server; `meltledger run` delivers them"


def is_embedded(config: LineConfig) -> bool:
    """Whether the line's samples are in its folder, to be sealed, rolled up and let go of there."""
    return config.file.store.kind == "embedded"


def may_come(config: LineConfig, error: MeltledgerError) -> bool:
    """Whether a store that cannot be read may be there soon: after the first run, or when its server is."""
    return isinstance(error, WrongInput if is_embedded(config) else OutsideWorldAway)


def check_embedded(folder: Path, verb: str) -> None:
    """Refuse a folder whose line keeps its samples on a server.

    Raises:
        WrongInput: with what to do instead.
    """
    if (folder / _WAITING).exists() and not (folder / "recent.db").exists():
        raise WrongInput(
            f"{folder}: the samples of this line are on an InfluxDB server; `meltledger {verb}` is for the "
            "embedded store. Use the server's own means there; here are only what waits for the server, the "
            "journal and the trial record: copy the folder while `meltledger run` is stopped"
        )


def store_notes(config: LineConfig) -> list[str]:
    """What is no fault of the line's file but will keep its store from opening here."""
    if is_embedded(config):
        return []
    try:
        _place(config)
    except WrongInput as error:
        return [str(error).removeprefix(f"{config.path}: ")]
    return []


def _place(config: LineConfig) -> Place:
    try:
        from historian.influx import Place
    except ModuleNotFoundError as error:
        raise WrongInput(
            f'{config.path}: store.kind "influxdb" needs a package that is not installed ({error.name}): '
            "pip install 'meltledger[influx]'"
        ) from error
    store = config.file.store
    return Place(
        store.url or "", store.database or "", config.facts.name, org=store.org, token=_token(config)
    )


def _token(config: LineConfig) -> str:
    """The secret, from where the line's file says it stands; empty when it names none."""
    store = config.file.store
    if store.token_env is not None:
        token = os.environ.get(store.token_env, "").strip()
        if not token:
            raise WrongInput(
                f"{config.path}: store.token_env: the environment variable {store.token_env} is not set; "
                "set it to the token, or to USER:PASSWORD"
            )
        return token
    if store.token_file is None:
        return ""
    file = config.path.parent / store.token_file
    try:
        token = file.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "no text"
        raise WrongInput(f"{config.path}: store.token_file: {file} cannot be read ({reason})") from error
    if not token:
        raise WrongInput(f"{config.path}: store.token_file: {file} is empty; write the token into it")
    return token
