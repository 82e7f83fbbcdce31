"""JSON files that a person may read, too."""

from __future__ import annotations

import json
from pathlib import Path

from historian.errors import StoreReadOnly


def write_json(path: Path, content: object) -> None:
    """Write a file that another program can read at any moment: the old one, or all of the new one.

    Raises:
        StoreReadOnly: it cannot be written.
    """
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_text(json.dumps(content, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise StoreReadOnly(f"{path}: cannot be written ({error}); name another file") from error
    finally:
        part.unlink(missing_ok=True)
