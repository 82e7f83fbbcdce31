"""How a source gets in at its server: with which security, as whom, and whose certificates it believes."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from collector.errors import CertificateRefused, SourceRefused
from collector.opcua.certificate import Certificate
from collector.opcua.identity import Anonymous, Identity
from collector.opcua.judgement import Server, judge
from collector.opcua.own import Own, own_certificate
from collector.opcua.security import Security
from collector.opcua.trust import TrustFolder
from historian.errors import MeltledgerError

LOOK_S = 1.0
"""Time between two looks whether somebody has accepted a certificate."""


@dataclass(frozen=True, slots=True)
class Access:
    """How a source gets in.

    Attributes:
        security: of the connection.
        identity: who logs in.
        folder: of certificates.
        line: name of the line, for our own certificate.
        command: what a person types to accept a certificate, without its thumbprint.
    """

    security: Security = field(default_factory=Security)
    identity: Identity = field(default_factory=Anonymous)
    folder: Path = Path("pki")
    line: str = "line"
    command: str = "meltledger trust LINE.toml"

    @property
    def needs_trust(self) -> bool:
        """Whether the server must show a certificate that is believed: to sign, or to be told a secret."""
        return self.security.is_secured or not isinstance(self.identity, Anonymous)

    def own(self, now_ns: int) -> Own:
        """Our own certificate, made on first use; takes a moment and the disk.

        Raises:
            CertificateRefused: it cannot be had; naming the file and the remedy.
        """
        stamp = TrustFolder(self.folder).stamp()
        try:
            return own_certificate(self.folder, self.line, now_ns)
        except MeltledgerError as error:
            raise CertificateRefused(str(error), stamp) from error

    def check(self, shown: Sequence[Certificate], server: Server, now_ns: int) -> None:
        """Go on when the server's certificate is believed; takes the disk.

        Raises:
            CertificateRefused: it is not; what can be accepted waits for it then.
        """
        folder = TrustFolder(self.folder)
        stamp = folder.stamp()
        certificate = shown[0]
        try:
            trusted = folder.read()
        except MeltledgerError as error:
            raise CertificateRefused(str(error), stamp) from error
        verdict = judge(shown, server, trusted, now_ns)
        if verdict is None:
            folder.remember(certificate, server)
            return
        text = f"{server.endpoint}: the server's certificate is refused: {certificate}: {verdict.text}"
        if verdict.to_accept:
            try:
                where = f"It waits in {folder.lay(certificate, server)}"
            except MeltledgerError as error:
                where = str(error)
            text += (
                f". {where}. Remedy: compare the thumbprint with what the machine shows, then "
                f"`{self.command} {certificate.thumbprint[:16]}`"
            )
        if trusted.unreadable:
            text += f". Not read were {', '.join(trusted.unreadable)}"
        raise CertificateRefused(text, stamp)

    async def again(self, refused: SourceRefused, longest_s: float) -> None:
        """Wait before the next try: a while, or until somebody has put the certificates right.

        A login that was refused always waits, because servers lock out users who try too often.
        """
        until_s = time.monotonic() + longest_s
        while (left_s := until_s - time.monotonic()) > 0:
            await asyncio.sleep(min(LOOK_S, left_s))
            if isinstance(refused, CertificateRefused) and TrustFolder(self.folder).stamp() != refused.stamp:
                return


OPEN = Access()
"""Without security, without a name."""
