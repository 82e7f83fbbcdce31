"""A certificate's facts are read from whatever form it comes in, and rubbish is refused in our words."""

from __future__ import annotations

import hashlib

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.opcua.certificate import day, plain, read_certificates
from historian.errors import WrongInput
from tests.support.certificates import URI, key_of, signed

ROOT = signed("authority", uri=None, authority=True)
LEAF = signed("machine", issuer=ROOT)


def test_the_facts_are_those_of_the_bytes() -> None:
    (facts,) = read_certificates(LEAF.der, "test")
    assert facts.thumbprint == hashlib.sha256(LEAF.der).hexdigest()
    assert facts.sha1 == hashlib.sha1(LEAF.der).hexdigest()
    assert (facts.subject, facts.uris, facts.key_bits) == ("CN=machine", (URI,), 2048)
    assert not facts.is_authority and ROOT.facts.is_authority
    assert facts.ends_ns == int(LEAF.x509.not_valid_after_utc.timestamp()) * 1_000_000_000
    for word in ("CN=machine", facts.thumbprint, day(facts.starts_ns), day(facts.ends_ns)):
        assert word in str(facts)


def test_a_certificate_without_extensions_is_read() -> None:
    facts = signed(uri=None).facts
    assert facts.uris == () and not facts.is_authority


def test_a_key_of_another_kind_has_no_rsa_bits() -> None:
    assert signed(key=ec.generate_private_key(ec.SECP256R1())).facts.key_bits is None


@pytest.mark.parametrize("body", [LEAF.der + ROOT.der, LEAF.pem + ROOT.pem], ids=["DER", "PEM"])
def test_a_chain_is_read_in_its_order(body: bytes) -> None:
    assert [c.subject for c in read_certificates(body, "test")] == ["CN=machine", "CN=authority"]


def test_a_key_file_is_no_certificate() -> None:
    with pytest.raises(WrongInput, match=r"key\.pem: ") as caught:
        read_certificates(LEAF.key_pem, "key.pem")
    assert LEAF.key_pem.decode()[30:60] not in str(caught.value)


@settings(max_examples=200, deadline=None)
@given(st.one_of(st.binary(max_size=200), st.integers(0, len(LEAF.der) - 1).map(lambda n: LEAF.der[:n])))
def test_rubbish_is_refused(body: bytes) -> None:
    with pytest.raises(WrongInput, match="a file: "):
        read_certificates(body, "a file")


@settings(max_examples=200, deadline=None)
@given(st.integers(0, len(LEAF.der) - 1), st.integers(1, 255))
def test_a_changed_byte_is_read_as_another_certificate_or_refused(place: int, by: int) -> None:
    body = bytearray(LEAF.der)
    body[place] ^= by
    try:
        found = read_certificates(bytes(body), "a file")
    except WrongInput:
        return
    assert found[0].thumbprint != LEAF.facts.thumbprint


def test_a_foreign_text_stays_on_one_line() -> None:
    assert plain("a\nb\x1b[31m") == "a?b?[31m"
    assert len(plain("x" * 5000)) == 121


def test_the_key_print_is_the_keys() -> None:
    one, other = signed(key=key_of("machine")), signed("another", key=key_of("machine"))
    assert one.facts.key_print == other.facts.key_print != ROOT.facts.key_print
