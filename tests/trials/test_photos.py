"""A photograph is kept as it came, but for where it was taken."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from historian.errors import StoredDataDamaged, WrongInput
from trials.photos import keep_photo, photo, small_copy

PLACE, ORIENTATION, MAKER = 0x8825, 0x0112, 0x010F


def picture(
    kind: str = "JPEG", *, place: bool = True, size: tuple[int, int] = (64, 32), turned: int = 1
) -> bytes:
    chance = np.random.default_rng(1)
    image = Image.fromarray(chance.integers(0, 255, (size[1], size[0], 3), dtype=np.uint8))
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER] = turned, "tablet"
    if place:
        exif.get_ifd(PLACE).update({1: "N", 2: (41.0, 23.0, 9.0), 3: "E", 4: (2.0, 10.0, 1.0)})
    out = io.BytesIO()
    image.save(out, kind, exif=exif)
    return out.getvalue()


def test_its_place_is_gone_and_nothing_else(tmp_path: Path) -> None:
    body = picture()
    with Image.open(io.BytesIO(body)) as before:
        assert before.getexif().get_ifd(PLACE), "the tablet wrote none"
        pixels = np.asarray(before)
    sha256 = keep_photo(tmp_path / "photos", body, "screen.jpg")
    kept = photo(tmp_path / "photos", sha256)
    assert hashlib.sha256(kept).hexdigest() == sha256
    with Image.open(io.BytesIO(kept)) as after:
        assert not after.getexif().get_ifd(PLACE)
        assert after.getexif()[MAKER] == "tablet"
        assert (np.asarray(after) == pixels).all()


def test_a_photograph_without_a_place_is_kept_byte_by_byte(tmp_path: Path) -> None:
    body = picture(place=False)
    assert photo(tmp_path, keep_photo(tmp_path, body, "a.jpg")) == body


def test_the_place_is_taken_out_of_the_other_block_as_well(tmp_path: Path) -> None:
    body = picture(place=False)
    held = b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta exif:GPSLatitude='41,23.15N'/>"
    spoilt = body[:2] + b"\xff\xe1" + (len(held) + 2).to_bytes(2, "big") + held + body[2:]
    assert b"GPSLatitude" not in photo(tmp_path, keep_photo(tmp_path, spoilt, "a.jpg"))


def test_a_png_keeps_its_pixels_only(tmp_path: Path) -> None:
    body = picture("PNG")
    kept = photo(tmp_path, keep_photo(tmp_path, body, "a.png"))
    with Image.open(io.BytesIO(kept)) as after, Image.open(io.BytesIO(body)) as before:
        assert not after.getexif() and (np.asarray(after) == np.asarray(before)).all()


def test_the_same_one_twice_is_kept_once(tmp_path: Path) -> None:
    assert keep_photo(tmp_path, picture(), "a.jpg") == keep_photo(tmp_path, picture(), "b.jpg")
    assert len(list(tmp_path.iterdir())) == 1


def test_a_small_copy_is_upright_and_bare() -> None:
    with Image.open(io.BytesIO(small_copy(picture(size=(640, 320), turned=6), 100))) as small:
        assert small.size == (50, 100)
        assert not small.getexif()


@pytest.mark.parametrize(
    ("body", "why"),
    [
        (b"", "a.jpg: no picture that can be read"),
        (picture()[:200], "no picture that can be read"),
        (b"GIF89a" + b"\0" * 40, "a.jpg: "),
        (b"\xff\xd8" + b"x" * 30_000_001, "at most 30 MB"),
    ],
)
def test_what_is_no_photograph_is_refused(tmp_path: Path, body: bytes, why: str) -> None:
    with pytest.raises(WrongInput, match=why):
        keep_photo(tmp_path, body, "a.jpg")
    assert list(tmp_path.iterdir()) == []


def test_one_that_is_missing_or_changed_is_told(tmp_path: Path) -> None:
    sha256 = keep_photo(tmp_path, picture(), "a.jpg")
    (file,) = tmp_path.iterdir()
    file.write_bytes(file.read_bytes() + b"x")
    with pytest.raises(StoredDataDamaged, match="was changed"):
        photo(tmp_path, sha256)
    file.unlink()
    with pytest.raises(StoredDataDamaged, match="is missing"):
        photo(tmp_path, sha256)
