"""Security policies and modes: which are known, which a server offers, and what its refusals mean."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from asyncua import ua
from asyncua.crypto import security_policies as library

from collector.errors import SourceRefused, UnsupportedSecurity
from collector.opcua.certificate import plain
from collector.opcua.identity import Identity

_POLICIES: Final[Mapping[str, type[library.SecurityPolicy]]] = {
    "None": library.SecurityPolicyNone,
    "Basic256Sha256": library.SecurityPolicyBasic256Sha256,
    "Aes128_Sha256_RsaOaep": library.SecurityPolicyAes128Sha256RsaOaep,
    "Aes256_Sha256_RsaPss": library.SecurityPolicyAes256Sha256RsaPss,
}
_MODES: Final[Mapping[str, ua.MessageSecurityMode]] = {
    "None": ua.MessageSecurityMode.None_,
    "Sign": ua.MessageSecurityMode.Sign,
    "SignAndEncrypt": ua.MessageSecurityMode.SignAndEncrypt,
}
KEEPS_SECRETS: Final = frozenset(policy.URI for name, policy in _POLICIES.items() if name != "None")
"""Policies by which a password may be encrypted."""

_LOGIN: Final = (
    "BadUserAccessDenied",
    "BadIdentityTokenRejected",
    "BadIdentityTokenInvalid",
    "BadUserSignatureInvalid",
)
_POLICY: Final = ("BadSecurityPolicyRejected", "BadSecurityModeRejected", "BadSecurityModeInsufficient")


@dataclass(frozen=True, slots=True)
class Security:
    """How the connection is secured.

    Attributes:
        policy: OPC UA security policy.
        mode: message security mode.
    """

    policy: str = "None"
    mode: str = "None"

    def __str__(self) -> str:
        return "None" if self.policy == "None" else f"{self.policy}/{self.mode}"

    @property
    def is_secured(self) -> bool:
        """Whether messages are at least signed."""
        return self.policy != "None"

    @property
    def library_policy(self) -> type[library.SecurityPolicy]:
        """The library's policy."""
        return _POLICIES[self.policy]

    @property
    def library_mode(self) -> ua.MessageSecurityMode:
        """The library's mode."""
        return _MODES[self.mode]


def parse_security(text: str) -> Security:
    """The setting that is written as ``None`` or ``POLICY/MODE``.

    Raises:
        UnsupportedSecurity: it is neither.

    Example:
        >>> parse_security("Basic256Sha256/SignAndEncrypt").mode
        'SignAndEncrypt'
    """
    policy, _, mode = text.strip().partition("/")
    if policy == "None" and mode in ("", "None"):
        return Security()
    if policy not in _POLICIES or mode not in _MODES or "None" in (policy, mode):
        raise UnsupportedSecurity(
            f'security = "{text[:60]}" cannot be read: write "None", or a policy '
            f"({', '.join(list(_POLICIES)[1:])}) "
            'and a mode (Sign, SignAndEncrypt) as "Basic256Sha256/SignAndEncrypt"'
        )
    return Security(policy, mode)


def pick_endpoint(
    offered: Iterable[ua.EndpointDescription], security: Security, where: str
) -> ua.EndpointDescription:
    """What a server offers under a policy and mode.

    Raises:
        SourceRefused: it does not; telling what it offers.
    """
    offered = list(offered)
    for endpoint in offered:
        if (
            str(endpoint.EndpointUrl).startswith(ua.OPC_TCP_SCHEME)
            and endpoint.SecurityMode == security.library_mode
            and endpoint.SecurityPolicyUri == security.library_policy.URI
        ):
            return endpoint
    raise SourceRefused(
        f'{where} does not offer security = "{security}"; it offers {offers(offered)}. Remedy: write one of '
        "these into the line's file, or switch the policy on at the server"
    )


def offers(endpoints: Iterable[ua.EndpointDescription]) -> str:
    """What a server offers, as it is written in a line's file; what we do not know is marked."""
    told: dict[str, None] = {}
    for endpoint in endpoints:
        uri = str(endpoint.SecurityPolicyUri or "")
        policy = next((name for name, known in _POLICIES.items() if uri == known.URI), "")
        mode = next((name for name, known in _MODES.items() if known == endpoint.SecurityMode), "?")
        if policy == "None":
            told["None"] = None
        elif policy:
            told[f"{policy}/{mode}"] = None
        else:
            told[f"{plain(uri.rpartition('#')[2], 40) or 'something'}/{mode} (not known here)"] = None
    return ", ".join(told) or "nothing"


def refusal(error: Any, where: str, identity: Identity, own: str) -> SourceRefused | None:
    """What a status that ended the handshake means; None when it is no refusal but a passing trouble.

    Args:
        error: the library's error with a status code.
        where: the endpoint.
        identity: who was to log in.
        own: our own certificate, for a person; empty when none was shown.
    """
    status = str(ua.StatusCode(error.code).name)
    if status in _LOGIN:
        return SourceRefused(
            f"{where} lets nobody in {identity} ({status}). Remedy: {identity.remedy}; the next try "
            "comes in a minute, so that no user is locked out"
        )
    if status in _POLICY:
        return SourceRefused(
            f"{where} does not accept this security ({status}). Remedy: write one "
            "that it offers into the line's file"
        )
    if status.startswith("BadCertificate") or status == "BadSecurityChecksFailed":
        return SourceRefused(
            f"{where} does not accept our own certificate ({status}). Remedy: accept {own or 'it'} at the "
            "server"
        )
    return None
