"""The messages of the report's source, found in its syntax: what is said, and what is marked to be said."""

from __future__ import annotations

import ast
from pathlib import Path

import trials.report

FOLDER = Path(trials.report.__file__).parent


def messages() -> dict[str, str]:
    """Message → the file where it stands; forms for one and for many are joined by NUL."""
    found: dict[str, str] = {}
    for path in sorted(FOLDER.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                for text in _said(node):
                    found.setdefault(text, path.name)
    return found


def _said(call: ast.Call) -> list[str]:
    texts = [a.value for a in call.args if isinstance(a, ast.Constant) and isinstance(a.value, str)]
    match call.func:
        case ast.Name("say" | "marked") | ast.Attribute(_, "say"):
            return (
                texts[:1]
                if texts and call.args[0] is not None and isinstance(call.args[0], ast.Constant)
                else []
            )
        case ast.Attribute(_, "several"):
            return ["\0".join(texts[:2])]
    return []
