"""Who we are at a server: nobody in particular, a user with a password, or the holder of a certificate."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from collector.errors import SourceRefused
from collector.opcua.own import Own, load_pair
from collector.secret import Secret
from historian.errors import WrongInput


@dataclass(frozen=True, slots=True)
class Anonymous:
    """Nobody in particular."""

    def __str__(self) -> str:
        return "without a user name"

    @property
    def remedy(self) -> str:
        """What helps when it is refused."""
        return "add user and password_env to the source in the line's file"


@dataclass(frozen=True, slots=True)
class UserName:
    """A user that the server knows by name and password."""

    name: str
    password: Secret

    def __str__(self) -> str:
        return f"as user '{self.name}'"

    @property
    def remedy(self) -> str:
        """What helps when it is refused."""
        return "correct user and password, or give that user the right to read at the server"


@dataclass(frozen=True, slots=True)
class UserCertificate:
    """A user that the server knows by a certificate.

    Attributes:
        certificate: its file, DER or PEM.
        key: file of its key, PEM without a pass phrase.
    """

    certificate: Path
    key: Path

    def __str__(self) -> str:
        return f"with the user certificate {self.certificate}"

    @property
    def remedy(self) -> str:
        """What helps when it is refused."""
        return "accept that certificate as a user's at the server"

    def load(self) -> Own:
        """Certificate and key.

        Raises:
            SourceRefused: they cannot be used; naming the file.
        """
        try:
            return load_pair(self.certificate, self.key)
        except WrongInput as error:
            raise SourceRefused(str(error)) from error


Identity = Anonymous | UserName | UserCertificate
