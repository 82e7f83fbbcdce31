"""Which store a line's file names, and where its secret stands."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from historian import EmbeddedStore, Frame, OutsideWorldAway, StoreReadOnly, Tag, WrongInput
from historian.influx.waiting import Waiting
from meltledger.cli import main
from meltledger.config import LineConfig, load
from meltledger.stores import (
    check_embedded,
    is_embedded,
    left_waiting,
    may_come,
    open_store,
    store_notes,
    store_or_none_yet,
)
from tests.meltledger.test_config import GOOD, ON_A_SERVER
from tests.support.ports import free_port

Configure = Callable[..., LineConfig]


@pytest.fixture
def configure(tmp_path: Path) -> Configure:
    def made(text: str, *more: str) -> LineConfig:
        path = tmp_path / "line.toml"
        away = text.replace("192.0.2.7:8086", f"127.0.0.1:{free_port()}")
        path.write_text(away.replace('path = "data"', "\n".join(['path = "data"', *more])), encoding="utf-8")
        return load(path)

    return made


def test_the_embedded_store_is_opened_as_the_file_says(configure: Configure) -> None:
    for words, level in (("full", 2), ("normal", 1)):
        config = configure(GOOD, f'synchronous = "{words}"')
        store = open_store(config)
        assert isinstance(store, EmbeddedStore)
        assert is_embedded(config)
        assert store._recent._db.execute("PRAGMA synchronous").fetchone() == (level,)
        store.close()
    store = open_store(config, mode="read")
    with pytest.raises(StoreReadOnly):
        store.register(config.tags)
    store.close()


def test_a_reader_waits_for_the_first_run_or_the_server_and_for_nothing_else(configure: Configure) -> None:
    config = configure(GOOD)
    with pytest.raises(WrongInput, match="no store here yet") as none_yet:
        open_store(config, mode="read")
    assert may_come(config, none_yet.value)
    assert not may_come(config, StoreReadOnly("disk"))
    config = configure(ON_A_SERVER)
    with pytest.raises(OutsideWorldAway, match="does not answer") as away:
        open_store(config, mode="read")
    assert may_come(config, away.value)
    assert not may_come(config, WrongInput("token"))


def test_a_line_that_has_not_run_yet_can_be_looked_at(configure: Configure) -> None:
    config = configure(GOOD)
    with store_or_none_yet(config) as store:
        assert store.tags() == {}
    assert not config.folder.exists()
    made = open_store(config)
    made.register(config.tags)
    made.close()
    with store_or_none_yet(config) as store:
        assert set(store.tags()) == {tag.path for tag in config.tags}
        with pytest.raises(StoreReadOnly):
            store.register([Tag("water.flow.pv", "m3/h")])
    with (
        pytest.raises(OutsideWorldAway, match="does not answer"),
        store_or_none_yet(configure(ON_A_SERVER)),
    ):
        pass


def test_what_is_left_waiting_for_the_server_is_told(configure: Configure) -> None:
    assert left_waiting(configure(GOOD)) == ""
    config = configure(ON_A_SERVER)
    assert left_waiting(config) == ""
    assert not config.folder.exists()
    waiting = Waiting.open(config.folder / "waiting.db", config.facts.name)
    waiting.append([Frame.of([1, 1], [1, 2], [1.0, 2.0], [0, 0], arrival_ns=3)])
    waiting.close()
    assert (
        left_waiting(config)
        == f"2 samples wait in {config.folder} for the server; `meltledger run` delivers them"
    )


def test_the_token_comes_from_the_environment(configure: Configure, monkeypatch: pytest.MonkeyPatch) -> None:
    config = configure(ON_A_SERVER, 'token_env = "LINE_TOKEN"')
    monkeypatch.delenv("LINE_TOKEN", raising=False)
    with pytest.raises(WrongInput, match=r"line\.toml: store\.token_env: .*LINE_TOKEN is not set"):
        open_store(config)
    (note,) = store_notes(config)
    assert note.startswith("store.token_env: ")
    monkeypatch.setenv("LINE_TOKEN", "s3cret")
    assert store_notes(config) == []
    with pytest.raises(OutsideWorldAway) as away:
        open_store(config)
    assert "s3cret" not in str(away.value)


def test_the_token_comes_from_a_file(configure: Configure, tmp_path: Path) -> None:
    config = configure(ON_A_SERVER, 'token_file = "token"')
    with pytest.raises(WrongInput, match=r"store\.token_file: .*token cannot be read"):
        open_store(config)
    (tmp_path / "token").write_text("\n", encoding="utf-8")
    with pytest.raises(WrongInput, match="is empty"):
        open_store(config)
    (tmp_path / "token").write_text("s3cret\n", encoding="utf-8")
    assert store_notes(config) == []


def test_without_the_extra_its_name_is_told(configure: Configure, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [n for n in sys.modules if n.startswith("historian.influx")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "influxdb_client", None)
    monkeypatch.setitem(sys.modules, "influxdb_client.client.influxdb_client", None)
    with pytest.raises(WrongInput, match=r"pip install 'meltledger\[influx\]'"):
        open_store(configure(ON_A_SERVER))


@pytest.mark.parametrize("verb", ["doctor", "backup"])
def test_what_is_for_the_embedded_store_says_so(
    verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "waiting.db").touch()
    rest = [str(tmp_path / "line.backup")] if verb == "backup" else []
    with pytest.raises(SystemExit) as ended:
        main([verb, str(tmp_path), *rest])
    assert ended.value.code == 2
    assert f"`meltledger {verb}` is for the embedded store" in capsys.readouterr().err
    (tmp_path / "recent.db").touch()
    check_embedded(tmp_path, verb)
