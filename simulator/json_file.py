"""JSON files that a person may read, too."""

from __future__ import annotations

import json
from pathlib import Path


def write_json(path: Path, content: object) -> None:
    """Write a file that another program can read at any moment: the old one, or all of the new one."""
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_text(json.dumps(content, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
