"""Where a password stands; never the password itself."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from collector.errors import SourceRefused


@dataclass(frozen=True, slots=True)
class Secret:
    """Where a password stands; it is read each time that it is needed and never kept.

    Attributes:
        env: environment variable that holds it.
        file: file that holds it, when no variable is named.
    """

    env: str | None = None
    file: Path | None = None

    def read(self) -> str:
        """The password.

        Raises:
            SourceRefused: it is not there; naming the place, never what stands in it.
        """
        if self.env is not None:
            password = os.environ.get(self.env, "")
            if not password:
                raise SourceRefused(f"the environment variable {self.env} is not set; set it to the password")
            return password
        if self.file is None:
            raise SourceRefused("no place is named where the password stands")
        try:
            password = self.file.read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            reason = getattr(error, "strerror", None) or "no text"
            raise SourceRefused(f"{self.file}: the password cannot be read ({reason})") from None
        if not password:
            raise SourceRefused(f"{self.file}: is empty; write the password into it")
        return password
