"""What the line's file may say about security, and what of it this release can do."""

from __future__ import annotations

from dataclasses import dataclass

from collector.errors import UnsupportedSecurity

_POLICIES = ("None", "Basic256Sha256", "Aes128_Sha256_RsaOaep", "Aes256_Sha256_RsaPss")
_MODES = ("None", "Sign", "SignAndEncrypt")


@dataclass(frozen=True, slots=True)
class Security:
    """How the connection is secured.

    Attributes:
        policy: OPC UA security policy.
        mode: message security mode.
    """

    policy: str
    mode: str


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
        return Security("None", "None")
    if policy not in _POLICIES or mode not in _MODES or "None" in (policy, mode):
        raise UnsupportedSecurity(
            f'security = "{text[:60]}" cannot be read: write "None", or a policy '
            f"({', '.join(_POLICIES[1:])}) "
            'and a mode (Sign, SignAndEncrypt) as "Basic256Sha256/SignAndEncrypt"'
        )
    return Security(policy, mode)


def check_security(text: str) -> Security:
    """The setting, when this release can do it.

    Raises:
        UnsupportedSecurity: it cannot be read, or asks for a secured endpoint.
    """
    security = parse_security(text)
    if security.policy != "None":
        raise UnsupportedSecurity(
            f'security = "{text}": this release reads unsecured endpoints only. Write security = "None" '
            "and keep the connection on a network of its own"
        )
    return security
