"""Whose certificate is believed, and in which words it is not; every combination without disk or network."""

from __future__ import annotations

import time

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding

from collector.opcua.judgement import Doubt, Revoked, Server, Trusted, Verdict, judge
from tests.support.certificates import URI, Signed, key_of, signed

NOW = time.time_ns()
HERE = Server("opc.tcp://10.0.0.1:4840", URI)
ROOT = signed("authority", uri=None, authority=True)
BETWEEN = signed("between", issuer=ROOT, uri=None, authority=True)
ISSUED = signed("machine", issuer=ROOT)
DEEP = signed("machine", issuer=BETWEEN)
SELF = signed("machine")


def trusting(
    *accepted: Signed, met: dict[str, Server] | None = None, revoked: tuple[Revoked, ...] = ()
) -> Trusted:
    return Trusted(tuple(s.facts for s in accepted), met or {}, revoked)


def verdict(shown: Signed, trusted: Trusted, *issuers: Signed, server: Server = HERE) -> Verdict | None:
    return judge([shown.facts, *(s.facts for s in issuers)], server, trusted, NOW)


def doubt(shown: Signed, trusted: Trusted, *issuers: Signed, server: Server = HERE) -> Doubt | None:
    found = verdict(shown, trusted, *issuers, server=server)
    return None if found is None else found.doubt


def test_an_empty_folder_means_nobody() -> None:
    found = verdict(SELF, Trusted())
    assert found is not None and found.to_accept
    assert (found.doubt, found.text) == (Doubt.UNKNOWN, "nobody has accepted it")


def test_what_was_accepted_itself_is_believed_and_nothing_else_is() -> None:
    assert doubt(SELF, trusting(SELF)) is None
    assert (
        doubt(signed("stranger", uri="urn:other"), trusting(SELF), server=Server("x", "urn:other"))
        is Doubt.UNKNOWN
    )


def test_the_same_name_and_key_are_not_enough() -> None:
    assert doubt(signed("machine", key=key_of("machine")), trusting(SELF)) is Doubt.CHANGED


@pytest.mark.parametrize("authority", [True, False, None])
def test_basic_constraints_of_a_certificate_that_was_accepted_itself_do_not_matter(
    authority: bool | None,
) -> None:
    own = signed(authority=authority)
    assert doubt(own, trusting(own)) is None


def test_one_without_key_usage_and_without_names_is_believed_when_accepted_itself() -> None:
    bare = signed(uri=None)
    assert doubt(bare, trusting(bare)) is None


def test_a_weak_key_is_refused_even_when_accepted() -> None:
    weak = signed(key=key_of("weak", 1024))
    found = verdict(weak, trusting(weak))
    assert found is not None and found.doubt is Doubt.WEAK and not found.to_accept
    assert "a key of 1024 bits; give the server one with an RSA key of at least 2048 bits" in found.text
    other = signed(key=ec.generate_private_key(ec.SECP256R1()))
    assert doubt(other, trusting(other)) is Doubt.WEAK


def test_one_out_of_its_time_is_refused_even_when_accepted_with_the_dates() -> None:
    past, early = signed(from_day=-20, to_day=-10), signed(from_day=10, to_day=20)
    for certificate, said in ((past, "it expired on "), (early, "it is not valid before ")):
        found = verdict(certificate, trusting(certificate))
        assert found is not None and found.doubt is Doubt.EXPIRED and not found.to_accept
        assert found.text.startswith(said) and "this computer's clock says 20" in found.text
    assert str(past.x509.not_valid_after_utc.date()) in str(verdict(past, Trusted()))


def test_one_that_names_another_application_is_refused_even_when_accepted() -> None:
    other = signed(uri="urn:somebody:else")
    found = verdict(other, trusting(other))
    assert found is not None and found.doubt is Doubt.WRONG_NAME
    assert "urn:somebody:else" in found.text and URI in found.text


def test_a_trusted_authority_vouches_for_what_it_has_issued() -> None:
    assert doubt(ISSUED, trusting(ROOT)) is None
    assert doubt(signed("machine", issuer=ROOT, to_day=2), trusting(ROOT)) is None, "a renewed one as well"
    assert doubt(SELF, trusting(ROOT)) is Doubt.UNKNOWN


def test_a_chain_is_followed_to_an_authority_that_is_trusted() -> None:
    assert doubt(DEEP, trusting(ROOT), BETWEEN) is None
    assert doubt(DEEP, trusting(ROOT)) is Doubt.UNKNOWN, "a link is missing"
    assert doubt(DEEP, trusting(BETWEEN)) is None
    assert doubt(DEEP, trusting(ISSUED), BETWEEN, ROOT) is Doubt.CHANGED, (
        "the root comes from the server itself"
    )


def test_a_forged_signature_does_not_pass() -> None:
    impostor = Signed(ROOT.x509, key_of("impostor"))
    assert doubt(signed("machine", issuer=impostor), trusting(ROOT)) is Doubt.UNKNOWN


def test_an_authority_out_of_its_time_vouches_for_nobody() -> None:
    old = signed("authority", uri=None, authority=True, from_day=-20, to_day=-10)
    assert doubt(signed("machine", issuer=old), trusting(old)) is Doubt.UNKNOWN


def test_no_server_vouches_for_another_one() -> None:
    """Many servers write into their own certificate that it were an authority's."""
    proud = signed("proud", authority=True, uri="urn:proud")
    assert doubt(signed("machine", issuer=proud), trusting(proud)) is Doubt.UNKNOWN
    issued = signed("proud", issuer=ROOT, authority=True, uri="urn:proud")
    assert doubt(signed("machine", issuer=issued), trusting(ROOT), issued) is Doubt.UNKNOWN


def test_one_that_is_no_authority_vouches_for_nobody() -> None:
    plain = signed("plain", issuer=ROOT, uri=None, authority=False)
    assert doubt(signed("machine", issuer=plain), trusting(ROOT), plain) is Doubt.UNKNOWN
    assert doubt(signed("machine", issuer=plain), trusting(plain)) is Doubt.UNKNOWN


def test_without_a_name_an_authoritys_word_is_not_enough() -> None:
    bare = signed("machine", issuer=ROOT, uri=None)
    assert doubt(bare, trusting(ROOT)) is Doubt.UNKNOWN
    assert doubt(bare, trusting(ROOT, bare)) is None


def revoked(issuer: Signed, *which: Signed) -> tuple[Revoked, ...]:
    return (Revoked(issuer.x509.subject.public_bytes(), frozenset(s.x509.serial_number for s in which)),)


def test_what_was_called_back_is_refused_itself_and_along_the_way() -> None:
    found = verdict(ISSUED, trusting(ROOT, revoked=revoked(ROOT, ISSUED)))
    assert found is not None and found.doubt is Doubt.REVOKED and not found.to_accept
    assert doubt(ISSUED, trusting(ISSUED, revoked=revoked(ROOT, ISSUED))) is Doubt.REVOKED
    assert doubt(DEEP, trusting(ROOT, revoked=revoked(ROOT, BETWEEN)), BETWEEN) is Doubt.REVOKED
    assert doubt(ISSUED, trusting(ROOT, revoked=revoked(ROOT, DEEP))) is None
    assert doubt(ISSUED, trusting(ROOT, revoked=revoked(BETWEEN, ISSUED))) is None, (
        "another authority's number"
    )


def test_a_changed_certificate_is_told_with_both_thumbprints() -> None:
    renewed = signed("machine", key=key_of("fresh"))
    found = verdict(renewed, trusting(SELF))
    assert found is not None and found.doubt is Doubt.CHANGED and found.to_accept
    assert "CHANGED" in found.text and SELF.facts.thumbprint in found.text
    assert "renewed" in found.text and "somebody is between" in found.text
    assert "its key is the same" not in found.text


def test_a_renewal_with_the_same_key_is_told_as_such_and_refused_all_the_same() -> None:
    found = verdict(signed("machine", key=key_of("machine")), trusting(SELF))
    assert found is not None and "its key is the same" in found.text


def test_a_change_is_known_by_the_place_where_no_name_tells() -> None:
    bare, other = signed(uri=None), signed(uri=None, key=key_of("fresh"))
    met = {bare.facts.thumbprint: HERE}
    assert doubt(other, trusting(bare, met=met)) is Doubt.CHANGED
    assert (
        doubt(other, trusting(bare, met=met), server=Server("opc.tcp://10.0.0.2:4840", URI)) is Doubt.UNKNOWN
    )


def test_a_server_without_a_name_is_not_taken_for_another_one_without() -> None:
    nameless = Server("opc.tcp://10.0.0.9:4840", "")
    assert doubt(signed("b", uri=None), trusting(signed("a", uri=None)), server=nameless) is Doubt.UNKNOWN


def test_a_list_of_what_was_called_back_that_is_the_librarys_reads_the_same() -> None:
    assert ROOT.x509.subject.public_bytes(Encoding.DER) == revoked(ROOT)[0].issuer
