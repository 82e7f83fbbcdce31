"""Our own certificate: made once, never overwritten, and a wrong pair is said."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, Encoding, PrivateFormat

from collector.opcua.own import VALID_DAYS, application_uri, load_pair, own_certificate, own_files
from historian.errors import MeltledgerError, OutsideWorldAway, StoreReadOnly, WrongInput
from historian.frame import NS
from tests.support.certificates import URI, key_of, signed

NOW = time.time_ns()
YEAR_NS = 365 * 86_400 * NS


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_it_is_made_on_first_use_and_kept(tmp_path: Path) -> None:
    folder = tmp_path / "line" / "pki"
    own = own_certificate(folder, "pilot-2", NOW)
    before = contents(folder)
    assert set(before) == {"own/certificate.der", "own/key.pem"}
    assert own_files(folder)[1].stat().st_mode & 0o777 == 0o600
    assert own_certificate(folder, "pilot-2", NOW + YEAR_NS).certificate == own.certificate
    assert contents(folder) == before
    assert own.uri == application_uri("pilot-2") and own.uri.endswith(":meltledger:pilot-2")
    assert own.certificate.key_bits == own.key.key_size == 2048
    assert 0 <= VALID_DAYS - (own.certificate.ends_ns - NOW) // (86_400 * NS) <= 1


def test_it_says_what_the_standard_asks_for(tmp_path: Path) -> None:
    """Source: OPC 10000-6, 6.2.2."""
    own = own_certificate(tmp_path, "pilot-2", NOW)
    made = x509.load_der_x509_certificate(own.certificate.der)
    usage = made.extensions.get_extension_for_class(x509.KeyUsage).value
    assert usage.digital_signature and usage.content_commitment
    assert usage.key_encipherment and usage.data_encipherment and usage.key_cert_sign
    assert not made.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert made.extensions.get_extension_for_class(x509.ExtendedKeyUsage)
    names = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName)
    made.verify_directly_issued_by(made)


def test_several_sources_that_start_at_once_get_one_and_the_same(tmp_path: Path) -> None:
    found: list[str] = []
    start = threading.Barrier(4)

    def work() -> None:
        start.wait()
        found.append(own_certificate(tmp_path, "pilot-2", NOW).certificate.thumbprint)

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 4 and len(set(found)) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["own"]


def test_nothing_is_made_by_a_clock_that_is_wrong(tmp_path: Path) -> None:
    with pytest.raises(OutsideWorldAway, match="clock says 1970-01-02; set the clock"):
        own_certificate(tmp_path, "pilot-2", 86_400 * NS)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreReadOnly, match="let this user write there"):
        own_certificate(tmp_path / "file" / "pki", "pilot-2", NOW)


@pytest.mark.parametrize("missing", [0, 1], ids=["certificate", "key"])
def test_half_a_pair_is_told_and_nothing_is_made(tmp_path: Path, missing: int) -> None:
    own_certificate(tmp_path, "pilot-2", NOW)
    own_files(tmp_path)[missing].unlink()
    before = contents(tmp_path)
    with pytest.raises(WrongInput, match=r"cannot be read \(No such file.*move .*own away") as caught:
        own_certificate(tmp_path, "pilot-2", NOW)
    assert str(own_files(tmp_path)[missing]) in str(caught.value)
    assert contents(tmp_path) == before


def put(folder: Path, certificate: bytes, key: bytes) -> None:
    (folder / "own").mkdir(parents=True)
    for file, body in zip(own_files(folder), (certificate, key), strict=True):
        file.write_bytes(body)


GOOD = signed(uri=URI)


@pytest.mark.parametrize(
    ("certificate", "key", "said"),
    [
        (GOOD.der, signed("other").key_pem, "does not belong to"),
        (b"rubbish", GOOD.key_pem, "no certificate that can be read"),
        (GOOD.der, b"rubbish", "no PEM key that can be read"),
        (GOOD.der, b"", "no PEM key that can be read"),
        (
            signed(key=key_of("weak", 1024)).der,
            signed(key=key_of("weak", 1024)).key_pem,
            "at least 2048 bits",
        ),
        (signed(uri=None).der, GOOD.key_pem, "names no application URI"),
        (signed(to_day=-0.5).der, GOOD.key_pem, "is valid from .* to .*, and this computer's clock says"),
        (signed(from_day=3).der, GOOD.key_pem, "is valid from .* to .*, and this computer's clock says"),
    ],
    ids=["mismatched", "certificate", "key", "empty key", "weak", "no URI", "expired", "not yet"],
)
def test_a_pair_that_cannot_be_used_is_told_and_left(
    tmp_path: Path, certificate: bytes, key: bytes, said: str
) -> None:
    put(tmp_path, certificate, key)
    before = contents(tmp_path)
    with pytest.raises(WrongInput, match=said) as caught:
        own_certificate(tmp_path, "pilot-2", NOW)
    assert str(tmp_path / "own") in str(caught.value) and "another pair is then made" in str(caught.value)
    assert contents(tmp_path) == before


def test_a_pair_of_a_sites_own_authority_is_taken_also_as_pem(tmp_path: Path) -> None:
    issued = signed("edge", issuer=signed("authority", uri=None, authority=True), uri="urn:site:edge")
    put(tmp_path, issued.pem, issued.key_pem)
    assert own_certificate(tmp_path, "pilot-2", NOW).uri == "urn:site:edge"


def test_a_key_with_a_pass_phrase_is_told(tmp_path: Path) -> None:
    locked = GOOD.key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, BestAvailableEncryption(b"phrase"))
    put(tmp_path, GOOD.der, locked)
    with pytest.raises(WrongInput, match="pass phrase"):
        own_certificate(tmp_path, "pilot-2", NOW)


def test_no_key_stands_in_a_message_or_a_value(tmp_path: Path) -> None:
    certificate, key = GOOD.save(tmp_path, "user")
    assert "key=" not in repr(load_pair(certificate, key))
    body = GOOD.key_pem.replace(b"PRIVATE", b"PRIVAT")
    key.write_bytes(body)
    with pytest.raises(MeltledgerError) as caught:
        load_pair(certificate, key)
    assert caught.value.__cause__ is None
    assert body.decode()[40:80] not in str(caught.value)
