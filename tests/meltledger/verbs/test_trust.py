"""trust on the command line: what it lists, accepts and withdraws, and how it ends."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest

from collector.opcua.judgement import Server
from collector.opcua.own import own_certificate, own_files
from collector.opcua.trust import TrustFolder
from tests.meltledger.test_cli import exit_code
from tests.meltledger.test_config import GOOD
from tests.support.certificates import URI, key_of, signed

HERE = Server("opc.tcp://10.0.4.20:4840", URI)
ONE, TWO = signed("one"), signed("two")


@pytest.fixture
def line(tmp_path: Path) -> Path:
    path = tmp_path / "line.toml"
    secured = 'security = "Basic256Sha256/SignAndEncrypt"\n[source.tags]'
    path.write_text(GOOD.replace("[source.tags]", secured), encoding="utf-8")
    return path


@pytest.fixture
def folder(line: Path) -> TrustFolder:
    return TrustFolder(line.parent / "pki")


def test_it_lists_what_waits_what_is_trusted_and_our_own(
    line: Path, folder: TrustFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    assert exit_code("trust", str(line)) == 0
    said = capsys.readouterr().out
    assert "waits to be accepted: 0" in said and "trusted: 0" in said and "none yet" in said
    assert not folder.folder.exists(), "looking makes nothing"
    folder.lay(ONE.facts, HERE)
    folder.accept(TWO.facts, time.time_ns())
    own = own_certificate(folder.folder, "pilot-2", time.time_ns())
    assert exit_code("trust", str(line)) == 0
    said = capsys.readouterr().out
    assert f"meltledger trust {line} {ONE.facts.thumbprint[:16]}" in said
    for word in (ONE.facts.thumbprint, ONE.facts.sha1, HERE.endpoint, "CN=one", TWO.facts.thumbprint):
        assert word in said
    assert own.certificate.thumbprint in said and str(own_files(folder.folder)[0]) in said


def test_it_accepts_what_waits_and_withdraws_it(
    line: Path, folder: TrustFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    folder.lay(ONE.facts, HERE)
    assert exit_code("trust", str(line), ONE.facts.thumbprint[:16].upper()) == 0
    assert "is trusted now" in capsys.readouterr().out
    assert folder.read().certificates == (ONE.facts,) and folder.waiting() == []
    assert exit_code("trust", str(line), ONE.facts.thumbprint[:16]) == 0
    assert "is trusted already" in capsys.readouterr().out
    assert exit_code("trust", str(line), ONE.facts.thumbprint[:16], "--forget") == 0
    assert "is trusted no more" in capsys.readouterr().out
    assert folder.read().certificates == ()
    assert exit_code("trust", str(line), ONE.facts.thumbprint[:16], "--forget") == 2
    assert "is not trusted" in capsys.readouterr().err


def test_it_accepts_a_file_and_says_what_an_authority_means(
    line: Path, folder: TrustFolder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, _ = ONE.save(tmp_path, "one")
    assert exit_code("trust", str(line), str(file)) == 0
    assert "authority" not in capsys.readouterr().out
    root = tmp_path / "authority.pem"
    root.write_bytes(signed("authority", uri=None, authority=True).pem)
    assert exit_code("trust", str(line), str(root)) == 0
    assert "every server whose certificate it has issued is trusted" in capsys.readouterr().out
    assert len(folder.read().certificates) == 2
    assert exit_code("trust", str(line), str(root), "--forget") == 0
    assert folder.read().certificates == (ONE.facts,)


def test_after_a_renewal_it_says_what_is_still_trusted(
    line: Path, folder: TrustFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    folder.accept(ONE.facts, time.time_ns())
    folder.lay(TWO.facts, HERE)
    assert exit_code("trust", str(line), TWO.facts.thumbprint) == 0
    assert f"{ONE.facts.thumbprint[:16]} --forget" in capsys.readouterr().out


def test_json(line: Path, folder: TrustFolder, capsys: pytest.CaptureFixture[str]) -> None:
    folder.lay(ONE.facts, HERE)
    assert exit_code("trust", str(line), "--json") == 0
    (listed,) = json.loads(capsys.readouterr().out)
    (waits,) = listed["waiting"]
    assert (waits["thumbprint"], waits["endpoint"]) == (ONE.facts.thumbprint, HERE.endpoint)
    assert (listed["trusted"], listed["own"], listed["folder"]) == ([], None, str(folder.folder))
    assert exit_code("trust", str(line), waits["thumbprint"], "--json") == 0
    (done,) = json.loads(capsys.readouterr().out)
    assert (done["thumbprint"], done["did"]) == (ONE.facts.thumbprint, "is trusted now")


@pytest.mark.parametrize("which", ["0123456789abcdef", "none.der", "x"])
def test_what_is_neither_a_thumbprint_nor_a_file_is_wrong_use(
    line: Path, which: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert exit_code("trust", str(line), which) == 2
    assert f"'{which}' is neither" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"rubbish", "no certificate that can be read"),
        (ONE.key_pem, "no certificate that can be read"),
        (ONE.pem + TWO.pem, "holds 2 certificates"),
        (signed(to_day=-0.5).der, "it expired on"),
        (signed(key=key_of("weak", 1024)).der, "a key of 1024 bits"),
    ],
    ids=["rubbish", "a key", "several", "expired", "weak"],
)
def test_a_file_that_cannot_be_accepted_is_told(
    line: Path,
    folder: TrustFolder,
    tmp_path: Path,
    body: bytes,
    said: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = tmp_path / "given.der"
    file.write_bytes(body)
    assert exit_code("trust", str(line), str(file)) == 2
    assert said in capsys.readouterr().err
    assert folder.accepted() == []


def test_other_wrong_uses(line: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("trust", str(line), "--forget") == 2
    assert "needs the thumbprint" in capsys.readouterr().err
    assert exit_code("trust", str(tmp_path / "none.toml")) == 2


def test_a_folder_that_cannot_be_written_is_the_outside_world(
    line: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, _ = ONE.save(tmp_path, "one")
    (tmp_path / "pki").mkdir()
    (tmp_path / "pki" / "trusted").write_text("")
    assert exit_code("trust", str(line), str(file)) in (2, 3)
    assert "let this user" in capsys.readouterr().err
