"""Random numbers that depend on a seed, a name and a step, and on nothing else.

Each sensor and each scatter of the material has a stream of its own, addressed by the simulated second.
So a fault that is switched on leaves all other noise as it was, and a run may start anywhere without drawing
what came before.
"""

from __future__ import annotations

from zlib import crc32

import numpy as np
from numpy.typing import NDArray

BLOCK_STEPS = 512


def normals(seed: int, name: str, block: int) -> NDArray[np.float64]:
    """Standard normal numbers for the steps ``block·BLOCK_STEPS`` and on, shape (BLOCK_STEPS,).

    Example:
        >>> bool((normals(1, "a", 0) == normals(1, "a", 0)).all())
        True
        >>> bool((normals(1, "a", 0) == normals(1, "b", 0)).any())
        False
    """
    entropy = [seed, crc32(name.encode()), block]
    return np.random.Generator(np.random.PCG64(entropy)).standard_normal(BLOCK_STEPS)


def uniforms(seed: int, name: str, block: int) -> NDArray[np.float64]:
    """Uniform numbers from 0 up to 1 for the steps of a block, shape (BLOCK_STEPS,)."""
    entropy = [seed, crc32(name.encode()), block]
    return np.random.Generator(np.random.PCG64(entropy)).random(BLOCK_STEPS)


class Stream:
    """One stream, read step by step (any order, cheap in rising order)."""

    __slots__ = ("_block", "_name", "_numbers", "_seed")

    def __init__(self, seed: int, name: str) -> None:
        self._seed = seed
        self._name = name
        self._block = -1
        self._numbers: list[float] = []

    def at(self, step: int) -> float:
        """The number that belongs to the step."""
        block, place = divmod(step, BLOCK_STEPS)
        if block != self._block:
            self._block = block
            self._numbers = normals(self._seed, self._name, block).tolist()
        return self._numbers[place]
