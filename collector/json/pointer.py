"""JSON Pointer: a place in a JSON document, as RFC 6901 writes it."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final

from historian.errors import WrongInput

MISSING: Final = object()
"""What stands at a place that is not there."""

_INDEX: Final = re.compile(r"0|[1-9][0-9]*", re.ASCII)


def pointer(text: str) -> Callable[[object], object]:
    """A function that gives what stands at the place, or ``MISSING``.

    Raises:
        WrongInput: the text is no JSON Pointer.

    Source: RFC 6901, 3 to 5.

    Example:
        >>> pointer("/a/1")({"a": [5, 6]}), pointer("/x~1y")({"x/y": 2}), pointer("")(7)
        (6, 2, 7)
    """
    if text and not text.startswith("/"):
        raise WrongInput(
            f"'{text}' is not a JSON Pointer; write /name or /name/0, or an empty text for all of it"
        )
    if re.search(r"~(?![01])", text):
        raise WrongInput(f"'{text}': in a JSON Pointer ~ stands as ~0, and / inside a name as ~1")
    steps = [step.replace("~1", "/").replace("~0", "~") for step in text.split("/")[1:]]
    if not steps:
        return lambda document: document
    if len(steps) == 1:
        (name,) = steps
        return lambda document: (
            document.get(name, MISSING) if type(document) is dict else _step(document, name)
        )

    def found(document: object) -> object:
        for name in steps:
            document = _step(document, name)
            if document is MISSING:
                return MISSING
        return document

    return found


def one_step(text: str) -> str | None:
    """The name that a pointer of one step gives; None for one of more steps or of none.

    Example:
        >>> one_step("/a~1b"), one_step("/a/b"), one_step("")
        ('a/b', None, None)
    """
    steps = text.split("/")
    return steps[1].replace("~1", "/").replace("~0", "~") if len(steps) == 2 else None


def _step(document: object, name: str) -> object:
    if isinstance(document, dict):
        return document.get(name, MISSING)
    if isinstance(document, list) and _INDEX.fullmatch(name) and len(name) < 10 and int(name) < len(document):
        return document[int(name)]
    return MISSING
