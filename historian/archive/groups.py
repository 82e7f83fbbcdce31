"""Which tags share their stamps, so that one row can hold them: decided from the data."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from historian.archive.columns import Columns, Rows

# Two tags belong together while at least this part of their stamps is common: a scan that missed a tag
# now and then must not tear its group apart, and every missed one costs a null.
_COMMON: Final = 0.8
_PROBE: Final = 128

Groups = tuple[tuple[int, ...], ...]


def groups_of(kept: Columns) -> Groups:
    """The scan groups among the tags; tags in none of them have stamps of their own.

    Args:
        kept: sorted by tag, time and seq.

    Returns:
        groups of two tags or more, each rising, in the order of their first tag.
    """
    if len(kept) == 0:
        return ()
    order = np.lexsort((kept.seq, kept.time_ns))
    time_ns, seq = kept.time_ns[order], kept.seq[order]
    new = np.append(True, (time_ns[1:] != time_ns[:-1]) | (seq[1:] != seq[:-1]))
    stamp = np.empty(len(kept), dtype=np.intp)
    stamp[order] = np.cumsum(new) - 1
    alike: dict[bytes, list[int]] = defaultdict(list)
    stamps: dict[bytes, Rows] = {}
    edges = np.flatnonzero(np.append(True, kept.tag[1:] != kept.tag[:-1]))
    for a, b in zip(edges, np.append(edges[1:], len(kept)), strict=True):
        key = stamp[a:b].tobytes()
        alike[key].append(int(kept.tag[a]))
        stamps[key] = stamp[a:b]
    return _tidy(_joined(alike, stamps))


def agreed(groupings: Sequence[Mapping[int, str]]) -> Groups:
    """The groups for a day from those of its hours: tags that were mostly together.

    Args:
        groupings: for each hour tag number → the name of its wide file.

    Example:
        >>> agreed([{1: "a", 2: "a", 3: "b", 4: "b"}, {1: "c", 2: "c", 3: "c"}])
        ((1, 2), (3, 4))
    """
    tags = sorted({tag for g in groupings for tag in g})
    groups: list[list[int]] = []
    for tag in tags:
        for group in groups:
            both = [(g[tag], g[group[0]]) for g in groupings if tag in g and group[0] in g]
            either = sum(tag in g or group[0] in g for g in groupings)
            # A tag that was not there in some hours costs only nulls; one scanned apart would cost rows.
            if both and sum(a == b for a, b in both) >= max(_COMMON * len(both), 0.5 * either):
                group.append(tag)
                break
        else:
            groups.append([tag])
    return _tidy(groups)


def _joined(alike: Mapping[bytes, list[int]], stamps: Mapping[bytes, Rows]) -> list[list[int]]:
    """Tags with the very same stamps, and with them those that have nearly the same."""
    often = sorted(alike, key=lambda k: (-len(alike[k]), -len(stamps[k])))
    groups: list[tuple[Rows, list[int]]] = []
    for key in often:
        mine = stamps[key]
        for theirs, members in groups:
            if _near(mine, theirs):
                members.extend(alike[key])
                break
        else:
            groups.append((mine, list(alike[key])))
    return [members for _, members in groups]


def _near(a: Rows, b: Rows) -> bool:
    small, large = sorted((len(a), len(b)))
    if small < _COMMON * large:
        return False
    probe = a[:: max(1, len(a) // _PROBE)]
    if _hits(probe, b) < 0.5 * len(probe):
        return False
    common = _hits(a, b)
    return common >= _COMMON * (len(a) + len(b) - common)


def _hits(a: Rows, b: Rows) -> int:
    """How many of a are in b; both rising."""
    at = np.minimum(np.searchsorted(b, a), len(b) - 1)
    return int((b[at] == a).sum())


def _tidy(groups: Sequence[Sequence[int]]) -> Groups:
    return tuple(sorted(tuple(sorted(g)) for g in groups if len(g) > 1))
