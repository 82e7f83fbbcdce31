"""From an endpoint to an open session: the server's certificate is judged before anything is told to it."""

from __future__ import annotations

import asyncio
from typing import Any

from asyncua import ua
from asyncua.client.client import Client
from asyncua.ua.uaerrors import UaError, UaStatusCodeError
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.serialization import Encoding

from collector.clock import Clock
from collector.errors import CertificateRefused, SourceAway, SourceRefused
from collector.opcua.access import Access
from collector.opcua.certificate import Certificate, plain, read_certificates
from collector.opcua.identity import Anonymous, UserCertificate, UserName
from collector.opcua.judgement import Server
from collector.opcua.own import Own, own_files
from collector.opcua.security import KEEPS_SECRETS, offers, pick_endpoint, refusal
from historian.errors import WrongInput

_KINDS = {
    ua.UserTokenType.Anonymous: "nobody in particular",
    ua.UserTokenType.UserName: "user names",
    ua.UserTokenType.Certificate: "user certificates",
    ua.UserTokenType.IssuedToken: "issued tokens",
}


class GuardedClient(Client):
    """The library's client, but a secret leaves it only so that the server alone can read it."""

    def server_policy(self, token_type: ua.UserTokenType) -> ua.UserTokenPolicy:
        """How the server wants to be told who we are.

        Raises:
            SourceRefused: it does not take such a login at all, or only where others could read along.
        """
        if token_type == ua.UserTokenType.Anonymous:
            return super().server_policy(token_type)
        where = self.server_url.geturl()
        policies = [p for p in self._policy_ids if p.TokenType == token_type]
        if not policies:
            takes = {_KINDS.get(p.TokenType, "something else") for p in self._policy_ids} or {"nobody"}
            raise SourceRefused(
                f"{where} takes no {_KINDS[token_type]}; it takes {', '.join(sorted(takes))}. Remedy: correct "
                "the login in the line's file, or switch it on at the server"
            )
        for policy in policies:
            uri = str(policy.SecurityPolicyUri or self.security_policy.URI)
            keeps = uri in KEEPS_SECRETS and bool(self.security_policy.peer_certificate)
            if keeps or self._is_hidden(token_type):
                policy.SecurityPolicyUri = self._signing(uri) if not keeps else uri
                return policy
        raise SourceRefused(
            f"{where} would have the login sent so that others can read it; it is not sent. Remedy: choose a "
            "security with SignAndEncrypt"
        )
