"""Gives memory that was needed for a while back to the operating system."""

from __future__ import annotations

import ctypes
from contextlib import suppress

import pyarrow as pa


def give_back() -> None:
    """Let go of what the allocators keep for later.

    An hour that is sealed needs a hundred megabytes for seconds; without this they stay with the process
    until the next one. Elsewhere than on Linux with glibc only Arrow's are given back.
    Source: Apache Arrow, MemoryPool::ReleaseUnused; malloc_trim(3).
    """
    pa.default_memory_pool().release_unused()
    with suppress(AttributeError, OSError, TypeError):  # another C library
        ctypes.CDLL(None).malloc_trim(0)
