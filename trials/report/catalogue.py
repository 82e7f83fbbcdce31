"""Translations from a gettext catalogue's text form (``.po``): no second, compiled file can go stale. Pure.

Source of both forms: GNU gettext manual, "The Format of PO Files" and "The Format of GNU MO Files".
"""

from __future__ import annotations

import ast
import gettext
import io
import struct
from collections.abc import Iterator, Mapping
from typing import Final

from historian.errors import StoredDataDamaged

_KEYWORDS: Final = ("msgid_plural", "msgid", "msgstr")


def messages_of(po: str, name: str) -> dict[str, str]:
    """Message → its translation; forms for one and for many are joined by NUL, as gettext does.

    Messages without a translation, and those that are marked fuzzy, are left out.

    Args:
        name: of the catalogue, for what is told.

    Raises:
        StoredDataDamaged: naming the line that is none of a catalogue.
    """
    found: dict[str, str] = {}
    for entry, fuzzy in _entries(po, name):
        id_ = entry.get("msgid", "")
        if "msgid_plural" in entry:
            forms = [entry[k] for k in sorted(k for k in entry if k.startswith("msgstr["))]
            key, text = f"{id_}\0{entry['msgid_plural']}", "\0".join(forms) if all(forms) else ""
        else:
            key, text = id_, entry.get("msgstr", "")
        if text and not (fuzzy and id_):
            found[key] = text
    return found


def translations(po: str, name: str) -> gettext.GNUTranslations:
    """The same, ready to be asked.

    Raises:
        StoredDataDamaged: as ``messages_of``.
    """
    return gettext.GNUTranslations(io.BytesIO(_compiled(messages_of(po, name))))


def _entries(po: str, name: str) -> Iterator[tuple[dict[str, str], bool]]:
    entry: dict[str, str] = {}
    key, fuzzy = "", False
    for number, raw in enumerate([*po.splitlines(), ""], start=1):
        line = raw.strip()
        if not line or line.startswith("#"):
            if entry:
                yield entry, fuzzy
                entry, key, fuzzy = {}, "", False
            fuzzy = fuzzy or (line.startswith("#,") and "fuzzy" in line)
            continue
        word, _, rest = line.partition(" ")
        if line.startswith('"'):
            rest = line
        elif word.partition("[")[0] in _KEYWORDS:
            if word == "msgid" and "msgid" in entry:
                yield entry, fuzzy
                entry, fuzzy = {}, False
            key = word
            entry[key] = ""
        if not key or not (rest.startswith('"') and rest.endswith('"') and len(rest) > 1):
            raise StoredDataDamaged(f"{name}, line {number}: no line of a catalogue: {line[:60]}")
        entry[key] += str(ast.literal_eval(rest))


def _compiled(messages: Mapping[str, str]) -> bytes:
    """A catalogue as ``.mo``: magic, revision, count, two tables of (length, offset), then the texts."""
    pairs = sorted((k.encode(), v.encode()) for k, v in messages.items())
    start = 28 + 16 * len(pairs)
    ids, texts = b"", b""
    id_at, text_at = [], []
    for id_, _ in pairs:
        id_at.append((len(id_), start + len(ids)))
        ids += id_ + b"\0"
    for _, text in pairs:
        text_at.append((len(text), start + len(ids) + len(texts)))
        texts += text + b"\0"
    head = struct.pack("<7I", 0x950412DE, 0, len(pairs), 28, 28 + 8 * len(pairs), 0, start)
    tables = b"".join(struct.pack("<2I", *at) for at in (*id_at, *text_at))
    return head + tables + ids + texts
