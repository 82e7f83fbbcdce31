"""What is read out to those who do not see the page."""

from __future__ import annotations

from typing import Any


def aria(**words: str) -> dict[str, Any]:
    """The attributes of that name, as a component takes them.

    Example:
        >>> aria(label="Three bars")
        {'aria-label': 'Three bars'}
    """
    return {f"aria-{name}": text for name, text in words.items()}
