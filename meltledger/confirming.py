"""Which tags of a line a person still has to confirm."""

from __future__ import annotations

from historian.places import line_of
from meltledger.config import LineConfig


def to_confirm(config: LineConfig) -> list[str]:
    """A sentence on what is to be confirmed, then a line for each tag; empty when there is nothing.

    Raises:
        OSError: the file has gone since it was read.
    """
    waiting = [
        (number, path, tag)
        for number, source in enumerate(config.file.source)
        for path, tag in source.delivers.items()
        if tag.confirm
    ]
    if not waiting:
        return []
    text = config.path.read_text(encoding="utf-8")
    count = f"{len(waiting)} tag{'s are' if len(waiting) > 1 else ' is'}"
    found = [f"note: {count} to be confirmed, and kept under neutral names until then (docs/discovery.md):"]
    for number, path, tag in waiting:
        line = line_of(text, ("source", number, "tags", path))
        called = f' "{tag.text}"' if tag.text else ""
        found.append(
            f"line {line}: {path}{called}: {f'is it {tag.becomes}?' if tag.becomes else 'what is it?'}"
        )
    return found
