"""Two customers on one line: the package of one holds nothing of the other, and deleting one leaves the other."""

from __future__ import annotations

import io
import json
import sqlite3
import subprocess
import zipfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest

from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import Upkeep
from historian.frame import NS, Frame
from historian.retention import Keep
from historian.tags import Tag
from meltledger.config import LineConfig, load
from meltledger.forgetting import forget, proof_of, proof_path
from meltledger.recordedline import recorded_line
from meltledger.sealing import seal_trial
from meltledger.stores import open_store
from tests.meltledger.test_cli import exit_code
from tests.meltledger.test_config import GOOD
from tests.trials.test_photos import picture
from trials.photos import keep_photo
from trials.record import TrialRecord, What

T0 = 1_700_000_000 * NS // (3600 * NS) * 3600 * NS
MIN = 60 * NS
HERON = (T0 + 10 * MIN, T0 + 50 * MIN + NS // 2)
WREN = (T0 + 40 * MIN, T0 + 100 * MIN)
"""The second trial begins while the first is still open on paper; both need ten minutes."""
SECRETS = ("Zaunkoenig", "wren", "ZK-lot", "zk-question", "zk-note", "zk.vibration", "zk-old-words")
CUSTOMERS = """
[customer.heron]
keep = "400d"
[customer.wren]
keep = "20000d"
"""


def _write_trial(line: LineConfig, code: str, name: str, window: tuple[int, int], words: str) -> None:
    now = [window[0]]
    with closing(TrialRecord.open(line.trials, clock=lambda: now[0])) as record:
        trial = record.open_trial(name, customer="", code_name=code, start_ns=window[0], plan={}, by="ada")

        def write(what: What, data: dict[str, Any], **more: Any) -> int:
            return record.write(trial.id, what, data, time_ns=now[0], by="ada", **more).id

        write(What.MATERIAL, {"polymer": "PE-LD", "form": "flakes", "lot": f"{words}-lot"})
        write(What.PLAN, {"question": f"{words}-question"})
        old = write(What.NOTE, {"text": f"{words}-old-words"})
        write(What.NOTE, {"text": f"{words}-note"}, replaces=old)
        write(What.RESULT, {"sample": "P1", "what": "moisture", "value": "< 0.05 %", "method": f"{words} x"})
        for seen in (words, "shared"):
            body = picture(size=({"heron": 64, "zk": 60, "shared": 56}[seen], 32))
            sha256 = keep_photo(line.trials.parent / "photos", body, "p.jpg")
            write(What.PHOTO, {"sha256": sha256, "name": f"{words}.jpg", "of": "material"})
        now[0] = window[1]
        closed = record.close_trial(trial.id, window[1], "ada")
        with closing(open_store(line, mode="read", as_stored=True)) as store:
            seal_trial(record, store, closed, by="ada")


@pytest.fixture
def line(tmp_path: Path) -> Iterator[LineConfig]:
    file = tmp_path / "line.toml"
    file.write_text(GOOD, encoding="utf-8")
    config = load(file)
    config.folder.mkdir(parents=True)
    (config.trials.parent / "customers.toml").write_text(CUSTOMERS, encoding="utf-8")
    with closing(EmbeddedStore.open(config.folder)) as store:
        both = Tag("filter.inlet.pressure.pv", "bar")
        tags = store.register([both, Tag("extra.zk.vibration.pv", "1", text="Zaunkoenig's own gauge")])
        for minute in range(120):
            at = T0 + minute * MIN + np.arange(60) * NS
            numbers = [tags[both.path].id] * 60
            times = list(at)
            if minute >= 60:  # only while the second trial is alone
                numbers += [tags["extra.zk.vibration.pv"].id] * 60
                times += list(at)
            values = [float((t - T0) // NS) for t in times]
            store.append(Frame.of(numbers, times, values, [0] * len(times), arrival_ns=int(at[-1])))
    with closing(Upkeep.open(config.folder, config.facts.name, Keep())) as upkeep:
        upkeep.step(T0 + 24 * 60 * MIN)
    _write_trial(config, "heron", "day 1", HERON, "heron")
    _write_trial(config, "wren", "Zaunkoenig day", WREN, "zk")
    yield config


def _members(zipped: bytes, where: str = "") -> Iterator[tuple[str, bytes]]:
    """Every member, also of what is zipped inside, and what a Parquet file says when it is decompressed."""
    with zipfile.ZipFile(io.BytesIO(zipped)) as opened:
        for name in opened.namelist():
            body = opened.read(name)
            yield f"{where}{name}", name.encode() + body
            if name.endswith(".xlsx"):
                yield from _members(body, f"{name}/")
            if name.endswith(".parquet"):
                table = pq.read_table(io.BytesIO(body))
                yield f"{name} decompressed", repr(table.to_pydict()).encode() + repr(table.schema).encode()
                yield f"{name} metadata", b"".join(k + v for k, v in (table.schema.metadata or {}).items())


def test_a_package_holds_nothing_of_another_customers_trial(line: LineConfig, tmp_path: Path) -> None:
    assert exit_code("trial", "package", str(line.path), "day 1", "--to", str(tmp_path / "out")) == 0
    (file,) = (tmp_path / "out").iterdir()
    assert file.name == "heron-1.zip"
    members = dict(_members(file.read_bytes()))
    assert len(members) > 15
    for where, body in members.items():
        for secret in SECRETS:
            assert secret.lower().encode() not in body.lower(), (where, secret)
    # The same search finds the other's words in the other's package.
    assert exit_code("trial", "package", str(line.path), "Zaunkoenig day", "--to", str(tmp_path / "out")) == 0
    theirs = b"".join(b for _, b in _members((tmp_path / "out" / "wren-2.zip").read_bytes())).lower()
    assert all(secret.lower().encode() in theirs for secret in SECRETS)


def test_a_package_holds_its_window_alone(line: LineConfig, tmp_path: Path) -> None:
    exit_code("trial", "package", str(line.path), "day 1", "--to", str(tmp_path))
    with zipfile.ZipFile(tmp_path / "heron-1.zip") as opened:
        table = pq.read_table(io.BytesIO(opened.read("heron-1/samples.parquet")))
        record = json.loads(opened.read("heron-1/record.json"))
    time_ns = table["time_ns"].to_pylist()
    assert (time_ns[0], time_ns[-1], len(time_ns)) == (HERON[0], T0 + 50 * MIN, 40 * 60 + 1)
    assert set(table["tag"].to_pylist()) == {"filter.inlet.pressure.pv"}
    assert record["trial"]["name"] == "day 1"


def test_a_package_is_the_same_again_and_its_check_sums_hold(line: LineConfig, tmp_path: Path) -> None:
    report = tmp_path / "report.html"
    report.write_text("<p>a report</p>", encoding="utf-8")
    for out in ("a", "b"):
        told = ("trial", "package", str(line.path), "day 1", "--to", str(tmp_path / out))
        assert exit_code(*told, "--report", str(report)) == 0
    first, second = ((tmp_path / out / "heron-1.zip").read_bytes() for out in ("a", "b"))
    assert first == second
    with zipfile.ZipFile(io.BytesIO(first)) as opened:
        opened.extractall(tmp_path)
        assert "heron-1/report.html" in opened.namelist()
        assert "All is as it was sealed." in opened.read("heron-1/ABOUT.txt").decode()
        listed = opened.read("heron-1/SHA256SUMS").decode().splitlines()
        assert len(listed) == len(opened.namelist()) - 1
    done = subprocess.run(
        ["sha256sum", "-c", "--strict", "SHA256SUMS"], cwd=tmp_path / "heron-1", check=False
    )
    assert done.returncode == 0
    (tmp_path / "heron-1" / "record.json").write_text("{}")
    done = subprocess.run(["sha256sum", "-c", "SHA256SUMS"], cwd=tmp_path / "heron-1", check=False)
    assert done.returncode == 1


def test_a_report_that_is_not_there_is_told(line: LineConfig, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("trial", "package", str(line.path), "day 1", "--report", "no.pdf") == 2
    assert "no.pdf: there is no such report" in capsys.readouterr().err


def _times(line: LineConfig) -> set[int]:
    with closing(open_store(line, mode="read", as_stored=True)) as store:
        read = store.read(["filter.inlet.pressure.pv"], T0, T0 + 200 * MIN)
    return set(read["filter.inlet.pressure.pv"].time_ns.tolist())


def _photos(line: LineConfig) -> set[str]:
    return {p.stem for p in (line.trials.parent / "photos").iterdir()}


def test_without_yes_nothing_is_deleted(line: LineConfig, capsys: pytest.CaptureFixture[str]) -> None:
    before, photos = _times(line), _photos(line)
    assert exit_code("trial", "forget", str(line.path), "day 1", "--by", "ada") == 0
    told = capsys.readouterr().out
    assert "1800 samples, 1 photographs, 8 entries. Nothing was deleted" in told
    assert (_times(line), _photos(line)) == (before, photos)
    assert exit_code("trial", "verify", str(line.path), "day 1") == 0


def test_a_trial_is_kept_as_long_as_was_agreed(line: LineConfig, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("trial", "forget", str(line.path), "Zaunkoenig day", "--yes") == 2
    assert "is kept until 20" in capsys.readouterr().err
    assert exit_code("trial", "verify", str(line.path), "Zaunkoenig day") == 0


def test_deleting_a_trial_leaves_what_another_holds_and_a_proof(
    line: LineConfig, capsys: pytest.CaptureFixture[str]
) -> None:
    before, photos = _times(line), _photos(line)
    with recorded_line(line.path) as opened:
        mine = opened.trial("day 1")
        seal = next(e for e in opened.record.entries(mine.id) if e.what is What.SEALED).data["sha256"]
    assert exit_code("trial", "forget", str(line.path), "day 1", "--yes", "--by", "ada") == 0
    assert "deleted: 1800 samples, 1 photographs, 8 entries" in capsys.readouterr().out
    # Ten minutes are of the other trial as well.
    assert _times(line) == {t for t in before if not HERON[0] <= t < WREN[0]}
    assert len(photos) - len(_photos(line)) == 1
    assert exit_code("trial", "verify", str(line.path), "Zaunkoenig day") == 0
    with recorded_line(line.path) as opened:
        entries = opened.record.entries(mine.id)
        assert [e.what for e in entries] == [What.SEALED, What.FORGOTTEN]
        proof = dict(entries[1].data)
        assert proof == json.loads(proof_path(opened, opened.record.trials()[0]).read_text(encoding="utf-8"))
        # Nothing else can be taken out, before as after.
        with sqlite3.connect(line.trials) as db, pytest.raises(sqlite3.IntegrityError):
            db.execute("DELETE FROM entries")
        db.close()
    assert (proof["seal"], proof["by"], proof["done"]) == (seal, "ada", True)
    assert proof["tags"]["filter.inlet.pressure.pv"][0] == 30 * 60
    assert proof["windows_ns"] == [[HERON[0], WREN[0]]]
    assert set(proof["photos"]) == photos - _photos(line)


def test_no_word_of_a_deleted_trial_stays_in_any_file(line: LineConfig) -> None:
    words = (b"heron-note", b"heron-old-words", b"heron-question", b"heron-lot", b"day 1")
    files = [p for p in line.trials.parent.rglob("*") if p.is_file()]
    assert all(any(w in p.read_bytes() for p in files) for w in words)
    assert exit_code("trial", "forget", str(line.path), "day 1", "--yes") == 0
    for path in (p for p in line.trials.parent.rglob("*") if p.is_file()):
        assert not [w for w in words if w in path.read_bytes()], path


def test_a_try_that_was_stopped_goes_on_with_the_same_proof(
    line: LineConfig, monkeypatch: pytest.MonkeyPatch
) -> None:
    def power_cut(*_: object, **__: object) -> None:
        raise RuntimeError

    with monkeypatch.context() as patched:
        patched.setattr(TrialRecord, "forget", power_cut)
        with pytest.raises(RuntimeError):
            exit_code("trial", "forget", str(line.path), "day 1", "--yes", "--by", "ada")
    with recorded_line(line.path) as opened:
        trial = opened.trial("day 1")
        begun = proof_of(opened, trial, by="ben", why="", now_ns=0)
        assert (begun.by, begun.done, sum(n for n, _ in begun.tags.values())) == ("ada", False, 1800)
    assert exit_code("trial", "forget", str(line.path), "day 1", "--yes", "--by", "ben") == 0
    with recorded_line(line.path) as opened:
        told = json.loads(proof_path(opened, opened.record.trials()[0]).read_text(encoding="utf-8"))
    assert told == {**begun.to_json(), "done": True}


def test_a_deleted_trial_cannot_be_packed_verified_or_deleted_again(
    line: LineConfig, capsys: pytest.CaptureFixture[str]
) -> None:
    assert exit_code("trial", "forget", str(line.path), "day 1", "--yes") == 0
    for verb in (("verify",), ("package",), ("forget", "--yes")):
        assert exit_code("trial", verb[0], str(line.path), "heron-1", *verb[1:]) == 2
        assert "was deleted" in capsys.readouterr().err


def test_with_a_register_a_trial_names_its_customer_by_code_only(
    line: LineConfig, capsys: pytest.CaptureFixture[str]
) -> None:
    told = ("trial", "new", str(line.path), "day 3", "--customer")
    assert exit_code(*told, "Real Name Ltd") == 2
    assert "there is no customer 'Real Name Ltd'; known: heron, wren" in capsys.readouterr().err
    assert exit_code(*told, "heron") == 0
    with recorded_line(line.path) as opened:
        assert (opened.trial(None).customer, opened.trial(None).code_name) == ("", "heron")


def test_a_fault_in_the_register_is_told_with_its_line(
    line: LineConfig, capsys: pytest.CaptureFixture[str]
) -> None:
    (line.trials.parent / "customers.toml").write_text('[customer.heron]\nkeep = "for ever"\n')
    assert exit_code("trial", "forget", str(line.path), "day 1") == 2
    told = capsys.readouterr().err
    assert "customers.toml:2: customer.heron.keep:" in told and "400d" in told


def test_the_store_is_sound_afterwards(line: LineConfig, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("doctor", str(line.folder)) == 0
    before = capsys.readouterr().out
    assert exit_code("trial", "forget", str(line.path), "day 1", "--yes") == 0
    capsys.readouterr()
    assert exit_code("doctor", str(line.folder)) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(before.splitlines())


def test_a_photograph_that_another_trial_took_meanwhile_stays(line: LineConfig) -> None:
    with recorded_line(line.path) as opened:
        trial = opened.trial("day 1")
        proof = proof_of(opened, trial, by="ada", why="asked", now_ns=0)
        other = opened.record.open_trial(
            "day 3", customer="", code_name="wren", start_ns=T0 + 150 * MIN, plan={}
        )
        data = {"sha256": proof.photos[0], "name": "p.jpg", "of": "material"}
        opened.record.write(other.id, What.PHOTO, data, time_ns=T0 + 150 * MIN, by="ada")
        done = forget(opened, trial, proof, T0 + 24 * 60 * MIN)
        assert done.photos == []
        assert proof.photos[0] in _photos(line)
