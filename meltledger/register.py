"""Reads a line's register of sensors, and adds checks at its end; what stands there is never altered."""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from pathlib import Path

from historian.archive.disk import HostDisk
from historian.errors import StoreReadOnly, WrongInput
from historian.sensors.register import Register
from meltledger.checked_toml import checked_text, fault_at, read_checked
from meltledger.config import LineConfig
from meltledger.errors import LineFileWrong
from meltledger.linefile.register import RegisterFile

PAGE = "docs/channels-and-calibration.md"


def register_path(config: LineConfig) -> Path:
    """The file of a line's register, whether it is there or not."""
    return config.path.parent / (config.file.sensors.path or "sensors.toml")


def load_register(config: LineConfig) -> Register:
    """A line's register; an empty one when its file is not named and not there.

    Raises:
        LineFileWrong: with every fault found.
        WrongInput: the file cannot be read, or is named and not there.
    """
    path = register_path(config)
    if config.file.sensors.path is None and not path.exists():
        return Register()
    text, file = read_checked(path, RegisterFile, PAGE)
    return _register(config, path, text, file)


def add_check(config: LineConfig, entry: Mapping[str, object]) -> Register:
    """Add a check at the end of the register, and give the register with it.

    Args:
        entry: the keys of a ``[[check]]``, as TOML would hold them.

    Raises:
        LineFileWrong: the register, or what it would be with the check, has faults; nothing was written.
        WrongInput: there is no register.
        StoreFull, StoreReadOnly: naming the file and the remedy; the register is as it was.
    """
    path = register_path(config).resolve()
    with _alone(path.parent):
        text, file = read_checked(path, RegisterFile, PAGE)
        _register(config, path, text, file)
        longer = f"{text.rstrip()}\n\n{_written(entry)}"
        register = _register(config, path, longer, checked_text(path, longer, RegisterFile))
        _replace(path, longer)
    return register


def _register(config: LineConfig, path: Path, text: str, file: RegisterFile) -> Register:
    register, faults = file.register({t.path: t for t in config.tags})
    if faults:
        raise LineFileWrong(path, [fault_at(text, key, said) for key, said in faults])
    return register


def _replace(path: Path, text: str) -> None:
    """The new text in the old one's place, in one step: after a power cut it is one or the other."""
    disk, beside = HostDisk(), path.with_name(f".{path.name}.new")
    disk.write(beside, text.encode())
    os.chmod(beside, path.stat().st_mode)
    disk.rename(beside, path)
    disk.sync_folder(path.parent)


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Wait until no other process adds a check here; the kernel lets go when one ends, however."""
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    except OSError as error:
        raise StoreReadOnly(
            f"{folder}: cannot be opened ({error.strerror}); let this user read it"
        ) from error
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _written(entry: Mapping[str, object]) -> str:
    """A ``[[check]]`` as TOML."""
    lines = [f"{key} = {_value(value)}" for key, value in entry.items()]
    return "\n".join(["[[check]]", *lines, ""])


def _value(value: object) -> str:
    if isinstance(value, str):
        try:
            value.encode()
        except UnicodeEncodeError as error:
            raise WrongInput(f"{value!r} is no text that a file can hold; write it in UTF-8") from error
        # A JSON text is a TOML text, but for this one character, which is not to stand bare in it.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, float | int):
        return repr(value)
    raise WrongInput(f"a check cannot hold {value!r}")
