"""Photographs of material, samples, screens and findings: kept as they came, but for where they were taken.

A picture from a tablet says in its EXIF block where it was taken, and a report goes to people outside. So
the place is taken out before the picture is kept; its pixels are not touched. What is kept lies under its
SHA-256.
Source: Exif 2.32 (CIPA DC-008), tag 0x8825 is the pointer to the place; JPEG segments after ISO/IEC 10918-1.
"""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Final

from PIL import Image, ImageOps, UnidentifiedImageError

from historian.archive.disk import HostDisk
from historian.errors import StoredDataDamaged, WrongInput
from historian.rollups.writer import publish

MOST_BYTES: Final = 30_000_000
MOST_PIXELS: Final = 60_000_000
SMALL_PX: Final = 1200
_PLACE: Final = 0x8825
_START, _SCAN, _APP1 = b"\xff\xd8", 0xDA, 0xE1
_EXIF: Final = b"Exif\0\0"
_XMP: Final = b"http://ns.adobe.com/"  # the other block in which a place may stand
_ENDING: Final = {"JPEG": ".jpg", "PNG": ".png"}


def keep_photo(folder: Path, body: bytes, name: str) -> str:
    """Keep a photograph; gives its SHA-256, under which it lies. The same one twice is kept once.

    Args:
        name: of the file, for what is told.

    Raises:
        WrongInput: it is too large, or neither JPEG nor PNG, or damaged.
        StoreFull, StoreReadOnly: naming the folder.
    """
    if len(body) > MOST_BYTES:
        raise WrongInput(f"{name}: {len(body) / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are taken")
    kind = _kind(body, name)
    kept = _without_place(body) if kind == "JPEG" else _png_without_place(body)
    sha256 = hashlib.sha256(kept).hexdigest()
    path = folder / f"{sha256}{_ENDING[kind]}"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        publish(HostDisk(), path, kept)
    return sha256


def photo(folder: Path, sha256: str) -> bytes:
    """A photograph as it was kept.

    Raises:
        StoredDataDamaged: it is not there, or was changed.
    """
    for ending in _ENDING.values():
        path = folder / f"{sha256}{ending}"
        if path.exists():
            body = path.read_bytes()
            if hashlib.sha256(body).hexdigest() != sha256:
                raise StoredDataDamaged(f"{path}: the photograph was changed since it was kept")
            return body
    raise StoredDataDamaged(f"{folder}: photograph {sha256[:12]} is missing; put it back from a backup")


def small_copy(body: bytes, most_px: int = SMALL_PX) -> bytes:
    """A copy for a report: upright, at most so many pixels a side, without what stands beside the picture."""
    with Image.open(io.BytesIO(body)) as opened:
        upright = ImageOps.exif_transpose(opened).convert("RGB")
    upright.thumbnail((most_px, most_px))
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=85, optimize=True)
    return out.getvalue()


def _kind(body: bytes, name: str) -> str:
    try:
        with Image.open(io.BytesIO(body)) as opened:
            kind = opened.format or ""
            if opened.width * opened.height > MOST_PIXELS:
                raise WrongInput(f"{name}: {opened.width} × {opened.height} pixels are too many")
            if kind in _ENDING:
                opened.load()
                return kind
    except (UnidentifiedImageError, OSError, SyntaxError, Image.DecompressionBombError) as error:
        raise WrongInput(f"{name}: no picture that can be read ({error})") from error
    raise WrongInput(f"{name}: a picture of kind {kind or 'unknown'}; save it as JPEG or PNG")


def _without_place(body: bytes) -> bytes:
    """A JPEG without its place: EXIF is written anew without it, XMP is left out; the rest byte by byte."""
    out, at = [_START], 2
    while at + 4 <= len(body) and body[at] == 0xFF and body[at + 1] != _SCAN:
        length = int.from_bytes(body[at + 2 : at + 4], "big")
        segment = body[at : at + 2 + length]
        at += 2 + length
        held = segment[4:]
        if segment[1] == _APP1 and held.startswith(_XMP):
            continue
        if segment[1] == _APP1 and held.startswith(_EXIF):
            segment = _segment(_exif_without_place(held))
        out.append(segment)
    return b"".join(out) + body[at:]


def _exif_without_place(held: bytes) -> bytes:
    exif = Image.Exif()
    exif.load(held)
    if _PLACE not in exif:
        return held
    del exif[_PLACE]
    written = exif.tobytes()
    return written if written.startswith(_EXIF) else _EXIF + written


def _segment(held: bytes) -> bytes:
    return bytes((0xFF, _APP1)) + (len(held) + 2).to_bytes(2, "big") + held


def _png_without_place(body: bytes) -> bytes:
    """A PNG's pixels again, without what stands beside them."""
    with Image.open(io.BytesIO(body)) as opened:
        opened.load()
        opened.info = {}
        out = io.BytesIO()
        opened.save(out, "PNG")
    return out.getvalue()
