"""The folder of certificates: what waits, what is trusted, what is called back, read anew each time."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import Encoding

from collector.opcua.judgement import Server
from collector.opcua.trust import WAITING_LIMIT, TrustFolder, pick
from historian.errors import StoreReadOnly, WrongInput
from tests.support.certificates import URI, called_back, key_of, signed

HERE = Server("opc.tcp://10.0.0.1:4840", URI)
NOW = time.time_ns()
ONE, TWO = signed("one"), signed("two")


@pytest.fixture
def folder(tmp_path: Path) -> TrustFolder:
    return TrustFolder(tmp_path / "pki")


def test_a_folder_that_is_not_there_trusts_nobody_and_is_not_made(folder: TrustFolder) -> None:
    assert folder.read().certificates == () == folder.read().revoked
    assert folder.waiting() == [] == folder.accepted()
    assert not folder.folder.exists()


def test_what_waits_is_accepted_with_where_it_was_met(folder: TrustFolder) -> None:
    laid = folder.lay(ONE.facts, HERE)
    assert laid.read_bytes() == ONE.der
    (kept,) = folder.waiting()
    assert (kept.certificate, kept.server) == (ONE.facts, HERE)
    assert folder.read().certificates == ()
    before = folder.stamp()
    folder.accept(kept.certificate, NOW)
    assert folder.stamp() != before
    assert folder.waiting() == [] and not list(laid.parent.iterdir())
    trusted = folder.read()
    assert trusted.certificates == (ONE.facts,) and trusted.met == {ONE.facts.thumbprint: HERE}


def test_laying_one_to_wait_wakes_nobody(folder: TrustFolder) -> None:
    folder.accept(TWO.facts, NOW)
    before = folder.stamp()
    folder.lay(ONE.facts, HERE)
    assert folder.stamp() == before


def test_what_is_withdrawn_is_gone(folder: TrustFolder) -> None:
    folder.lay(ONE.facts, HERE)
    folder.accept(ONE.facts, NOW)
    folder.accept(TWO.facts, NOW)
    folder.forget(ONE.facts)
    assert folder.read().certificates == (TWO.facts,)
    assert len(list((folder.folder / "trusted").iterdir())) == 1


def test_files_that_a_person_put_there_count_under_any_name(folder: TrustFolder) -> None:
    trusted = folder.folder / "trusted"
    trusted.mkdir(parents=True)
    (trusted / "filter.crt").write_bytes(ONE.pem)
    (trusted / "both.pem").write_bytes(TWO.pem + signed("three").pem)
    assert {c.subject for c in folder.read().certificates} == {"CN=one", "CN=two", "CN=three"}
    with pytest.raises(WrongInput, match=r"both\.pem: holds other certificates"):
        folder.forget(TWO.facts)
    folder.forget(ONE.facts)
    assert ONE.facts not in folder.read().certificates


def test_a_file_that_cannot_be_read_counts_for_nothing_and_is_told(folder: TrustFolder) -> None:
    folder.accept(ONE.facts, NOW)
    odd = folder.folder / "trusted" / "odd.der"
    odd.write_bytes(b"rubbish")
    trusted = folder.read()
    assert trusted.certificates == (ONE.facts,) and trusted.unreadable == (str(odd),)


def test_a_torn_note_is_no_note(folder: TrustFolder) -> None:
    laid = folder.lay(ONE.facts, HERE)
    for body in (b"{", b"[]", b"{}", b'"text"', b"\xff"):
        laid.with_name(f"{laid.name}.json").write_bytes(body)
        assert folder.waiting()[0].server is None


@pytest.mark.parametrize("body", ["der", "pem"])
def test_lists_of_what_was_called_back_are_read(folder: TrustFolder, body: str) -> None:
    root = signed("authority", uri=None, authority=True)
    encoding = Encoding.DER if body == "der" else Encoding.PEM
    (folder.folder / "revoked").mkdir(parents=True)
    listed = called_back(root, ONE, TWO).public_bytes(encoding)
    (folder.folder / "revoked" / "authority.crl").write_bytes(listed)
    (revoked,) = folder.read().revoked
    assert revoked.issuer == root.x509.subject.public_bytes()
    assert revoked.serials == {ONE.x509.serial_number, TWO.x509.serial_number}


def test_a_list_that_cannot_be_read_lets_nobody_pass(folder: TrustFolder) -> None:
    (folder.folder / "revoked").mkdir(parents=True)
    (folder.folder / "revoked" / "authority.crl").write_bytes(b"rubbish")
    with pytest.raises(WrongInput, match=r"authority\.crl: .* without it none is believed"):
        folder.read()


def test_a_server_that_shows_another_one_each_time_does_not_fill_the_disk(folder: TrustFolder) -> None:
    first = folder.lay(ONE.facts, HERE)
    os.utime(first, ns=(1, 1))
    for _ in range(WAITING_LIMIT + 3):
        newest = folder.lay(signed("machine", key=key_of("one")).facts, HERE)
    assert len(folder.waiting()) == WAITING_LIMIT
    assert len(list((folder.folder / "waiting").iterdir())) == 2 * WAITING_LIMIT
    assert newest.exists() and not first.exists()


@pytest.mark.parametrize(
    "unfit", [signed(key=key_of("weak", 1024)), signed(to_day=-0.5)], ids=["weak", "past"]
)
def test_what_would_be_refused_all_the_same_is_not_accepted(folder: TrustFolder, unfit: object) -> None:
    with pytest.raises(WrongInput, match="would be refused all the same"):
        folder.accept(unfit.facts, NOW)  # type: ignore[attr-defined]
    assert folder.accepted() == []


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for act in (lambda f: f.lay(ONE.facts, HERE), lambda f: f.accept(ONE.facts, NOW)):
        with pytest.raises((StoreReadOnly, WrongInput), match="let this user"):
            act(TrustFolder(tmp_path / "file"))


def test_where_a_certificate_was_met_is_remembered_once(folder: TrustFolder) -> None:
    folder.accept(ONE.facts, NOW)
    folder.remember(TWO.facts, HERE)
    assert folder.read().met == {}
    folder.remember(ONE.facts, HERE)
    folder.remember(ONE.facts, Server("opc.tcp://10.0.0.2:4840", URI))
    assert folder.read().met == {ONE.facts.thumbprint: HERE}


def test_a_thumbprint_is_picked_as_people_write_it(folder: TrustFolder) -> None:
    folder.lay(ONE.facts, HERE)
    folder.lay(TWO.facts, HERE)
    kept = folder.waiting()
    whole, older = ONE.facts.thumbprint, ONE.facts.sha1
    spoken = ":".join(whole[i : i + 2].upper() for i in range(0, 64, 2))
    for text in (whole, whole[:8], spoken, f" {whole[:20]} ", older, older[:12].upper()):
        assert pick(kept, text) == ONE.facts
    for text in ("", whole[:7], "0" * 64, "filter.der", f"{whole}0"):
        assert pick(kept, text) is None


def test_a_beginning_that_fits_two_is_told(folder: TrustFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.opcua.trust._LEAST_PRINT", 0)
    folder.lay(ONE.facts, HERE)
    folder.lay(TWO.facts, HERE)
    with pytest.raises(WrongInput, match="2 thumbprints"):
        pick(folder.waiting(), "")
