"""Security settings, what a server offers of them, and what its refusals mean to a person."""

from __future__ import annotations

import pytest
from asyncua import ua
from asyncua.crypto import security_policies as library

from collector import CertificateRefused, SourceRefused, UnsupportedSecurity
from collector.opcua.identity import Anonymous, UserName
from collector.opcua.security import Security, offers, parse_security, pick_endpoint, refusal
from collector.secret import Secret

WHERE = "opc.tcp://10.0.0.1:4840"
SECURED = [
    f"{policy}/{mode}"
    for policy in ("Basic256Sha256", "Aes128_Sha256_RsaOaep", "Aes256_Sha256_RsaPss")
    for mode in ("Sign", "SignAndEncrypt")
]


def endpoint(uri: str, mode: ua.MessageSecurityMode, url: str = WHERE) -> ua.EndpointDescription:
    return ua.EndpointDescription(EndpointUrl=url, SecurityPolicyUri=uri, SecurityMode=mode)


OFFERED = [
    endpoint(library.SecurityPolicyNone.URI, ua.MessageSecurityMode.None_),
    endpoint(library.SecurityPolicyBasic256Sha256.URI, ua.MessageSecurityMode.Sign),
    endpoint(library.SecurityPolicyAes256Sha256RsaPss.URI, ua.MessageSecurityMode.SignAndEncrypt),
    endpoint("http://opcfoundation.org/UA/SecurityPolicy#Basic128Rsa15", ua.MessageSecurityMode.Sign),
]


@pytest.mark.parametrize("text", ["None", " None ", "None/None"])
def test_none_is_a_setting(text: str) -> None:
    assert parse_security(text) == Security() and not parse_security(text).is_secured


@pytest.mark.parametrize("text", SECURED)
def test_each_policy_and_mode_is_a_setting(text: str) -> None:
    security = parse_security(text)
    assert str(security) == text and security.is_secured
    assert security.library_policy.URI.endswith(f"#{security.policy}")


@pytest.mark.parametrize(
    "text", ["", "none", "Basic256Sha256", "Basic256Sha256/None", "None/Sign", "Basic128Rsa15/Sign"]
)
def test_anything_else_is_no_setting(text: str) -> None:
    with pytest.raises(UnsupportedSecurity, match="cannot be read"):
        parse_security(text)


def test_the_endpoint_with_that_policy_and_mode_is_picked() -> None:
    assert pick_endpoint(OFFERED, parse_security("Basic256Sha256/Sign"), WHERE) is OFFERED[1]
    assert pick_endpoint(OFFERED, Security(), WHERE) is OFFERED[0]


@pytest.mark.parametrize("text", ["Basic256Sha256/SignAndEncrypt", "Aes128_Sha256_RsaOaep/Sign"])
def test_what_is_not_offered_is_told_with_what_is(text: str) -> None:
    with pytest.raises(SourceRefused) as caught:
        pick_endpoint(OFFERED, parse_security(text), WHERE)
    assert f'{WHERE} does not offer security = "{text}"' in str(caught.value)
    assert (
        "it offers None, Basic256Sha256/Sign, Aes256_Sha256_RsaPss/SignAndEncrypt, "
        "Basic128Rsa15/Sign (not known here)" in str(caught.value)
    )


def test_another_transport_is_not_picked() -> None:
    https = endpoint(library.SecurityPolicyNone.URI, ua.MessageSecurityMode.None_, "https://10.0.0.1")
    with pytest.raises(SourceRefused):
        pick_endpoint([https], Security(), WHERE)
    assert offers([]) == "nothing"


@pytest.mark.parametrize(
    ("status", "said"),
    [
        ("BadUserAccessDenied", "lets nobody in as user 'reader'"),
        ("BadIdentityTokenRejected", "lets nobody in as user 'reader'"),
        ("BadIdentityTokenInvalid", "correct user and password"),
        ("BadSecurityPolicyRejected", "does not accept this security"),
        ("BadCertificateUntrusted", "accept own.der at the server"),
        ("BadCertificateTimeInvalid", "accept own.der at the server"),
        ("BadSecurityChecksFailed", "accept own.der at the server"),
    ],
)
def test_a_refusal_is_told_with_its_remedy(status: str, said: str) -> None:
    error = ua.UaStatusCodeError(getattr(ua.StatusCodes, status))
    refused = refusal(error, WHERE, UserName("reader", Secret("P")), "own.der")
    assert refused is not None and said in str(refused) and f"({status})" in str(refused)
    assert not isinstance(refused, CertificateRefused), "nothing in our folder mends it"


@pytest.mark.parametrize(
    "status", ["BadTooManySessions", "BadServerHalted", "BadTimeout", "BadSessionIdInvalid"]
)
def test_a_passing_trouble_is_no_refusal(status: str) -> None:
    assert refusal(ua.UaStatusCodeError(getattr(ua.StatusCodes, status)), WHERE, Anonymous(), "") is None
