"""The package of a trial: files in one zip, with their check sums, the same bytes whenever it is made."""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Final

SUMS: Final = "SHA256SUMS"
_TIME: Final = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can say
_WORKBOOK_TIME: Final = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*(</dcterms:)")
_PACKED: Final = (".parquet", ".xlsx", ".pdf", ".jpg", ".png")
_LOT: Final = 1 << 20


def write_package(path: Path, folder: str, members: Mapping[str, Path]) -> None:
    """Write the package.

    Args:
        path: of the zip.
        folder: in it, in which all lies.
        members: name in that folder → file.

    Raises:
        OSError: a file cannot be read or written.
    """
    sums = []
    with zipfile.ZipFile(path, "w") as out:
        for name, file in sorted(members.items()):
            hashed = hashlib.sha256()
            with file.open("rb") as source, out.open(_info(f"{folder}/{name}"), "w", force_zip64=True) as put:
                while lot := source.read(_LOT):
                    hashed.update(lot)
                    put.write(lot)
            # A backslash or a line's end in a name would need another form of the line; there is none.
            sums.append(f"{hashed.hexdigest()}  {name}\n")
        out.writestr(_info(f"{folder}/{SUMS}"), "".join(sums))


def settled_workbook(data: bytes) -> bytes:
    """An Excel workbook without the time when it was made, so that the same tables give the same bytes."""
    settled = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as book, zipfile.ZipFile(settled, "w") as out:
        for name in book.namelist():
            told = book.read(name)
            if name == "docProps/core.xml":
                told = _WORKBOOK_TIME.sub(rb"\g<1>1980-01-01T00:00:00Z\g<2>", told)
            info = _info(name)
            info.compress_type = zipfile.ZIP_DEFLATED
            out.writestr(info, told)
    return settled.getvalue()


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _TIME)
    info.compress_type = zipfile.ZIP_STORED if name.endswith(_PACKED) else zipfile.ZIP_DEFLATED
    info.create_system, info.external_attr = 3, 0o644 << 16
    return info
