"""A file again: whole or changed, before and after its samples were sealed, nothing is doubled or lost."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian import NS, EmbeddedStore, Frame, Tag
from historian.embedded.upkeep import Upkeep
from historian.exchange import ImportReport, import_csv, read_mapping
from historian.retention import Keep

HOUR = 3600
START_S = 1_782_900_000
NOW = 1_790_000_000 * NS
MAPPING = read_mapping("""
[time]
columns = ["t"]
format = "unix_s"
zone = "UTC"
[[column]]
name = "a"
tag = "lab.a.pv"
unit = "1"
[[column]]
name = "b"
tag = "lab.b.pv"
unit = "1"
""")
PATHS = ("lab.a.pv", "lab.b.pv")

Cells = dict[int, tuple[int | None, int | None]]


def write(folder: Path, cells: Cells) -> Path:
    path = folder / "panel.csv"
    rows = (f"{START_S + t},{'' if a is None else a},{'' if b is None else b}" for t, (a, b) in cells.items())
    path.write_text("\n".join(["t,a,b", *rows]), encoding="utf-8")
    return path


def seal(folder: Path) -> None:
    with closing(Upkeep.open(folder, "line 1", Keep())) as upkeep:
        upkeep.step(NOW, seal_all=True)


def samples(cells: Cells) -> dict[tuple[str, int], float]:
    return {
        (path, START_S + t): float(v)
        for t, pair in cells.items() for path, v in zip(PATHS, pair, strict=True) if v is not None
    }  # fmt: skip


def held(store: EmbeddedStore) -> list[tuple[tuple[str, int], float]]:
    span = store.span() or (0, 0)
    found = store.read([p for p in PATHS if p in store.tags()], span[0], span[1] + 1)
    return [
        ((path, t // NS), v)
        for path, s in found.items() for t, v in zip(s.time_ns.tolist(), s.value.tolist(), strict=True)
    ]  # fmt: skip


CELLS = st.dictionaries(
    st.one_of(st.integers(0, 12), st.integers(0, 40).map(lambda k: k * HOUR // 4)),
    st.tuples(st.one_of(st.none(), st.integers(-3, 3)), st.one_of(st.none(), st.integers(-3, 3))),
    min_size=1,
    max_size=30,
)


@settings(max_examples=25, deadline=None)
@given(first=CELLS, changes=CELLS, early=st.booleans(), between=st.booleans(), late=st.booleans())
def test_a_changed_file_replaces_what_it_says_and_keeps_what_stood_there(
    tmp_path_factory: pytest.TempPathFactory,
    first: Cells,
    changes: Cells,
    early: bool,
    between: bool,
    late: bool,
) -> None:
    folder = tmp_path_factory.mktemp("again")
    second = {**first, **changes}
    with closing(EmbeddedStore.open(folder / "store")) as store:

        def bring(cells: Cells, number: int) -> ImportReport:
            return import_csv(store, write(folder, cells), MAPPING, now_ns=NOW + number)

        bring(first, 1)
        if early:
            seal(folder / "store")
        last = store.last_number()
        assert bring(first, 2).new == 0 and store.last_number() == last
        if between:
            seal(folder / "store")
        before, said = samples(first), samples(second)
        changed = {key: v for key, v in before.items() if said.get(key, v) != v}
        report = bring(second, 3)
        assert (report.new, report.replaced) == (len(said.keys() - before.keys()), len(changed))
        if late:
            seal(folder / "store")
        last = store.last_number()
        again = bring(second, 4)
        assert (again.new, again.replaced, store.last_number()) == (0, 0, last)
        kept = held(store)
        assert len(kept) == len(dict(kept)) and dict(kept) == {**before, **said}
        stood = {
            (path, m.time_ns // NS): (m.value, m.arrival_ns, m.replaced_ns)
            for path in PATHS if path in store.tags()
            for m in store.modified(path, 0, 2**62)
        }  # fmt: skip
        assert stood == {key: (v, NOW + 1, NOW + 3) for key, v in changed.items()}


@pytest.mark.parametrize("sealed", [False, True])
def test_a_value_beside_one_of_another_clock_epoch_is_written_once(tmp_path: Path, sealed: bool) -> None:
    with closing(EmbeddedStore.open(tmp_path / "store")) as store:
        store.register([Tag("lab.a.pv", "1")])
        at = START_S * NS
        store.append(Frame.of([1], [at], [9.0], [0], arrival_ns=at, clock_epoch=3))
        if sealed:
            seal(tmp_path / "store")
        path = write(tmp_path, {0: (1, None)})
        import_csv(store, path, MAPPING, now_ns=NOW)
        assert sorted(v for _, v in held(store)) == [1.0, 9.0]
        for _ in range(2):
            again = import_csv(store, path, MAPPING, now_ns=NOW + 1)
            assert (again.new, again.replaced) == (0, 0)
        assert sorted(v for _, v in held(store)) == [1.0, 9.0]


def test_every_frame_of_an_import_has_its_arrival(tmp_path: Path) -> None:
    with closing(EmbeddedStore.open(tmp_path / "store")) as store:
        path = write(tmp_path, {t: (t % 7, -t) for t in range(60_000)})
        import_csv(store, path, MAPPING, now_ns=NOW)
        frames = list(store.frames())
        assert len(frames) == store.last_number() > 1
        assert {f.arrival_ns for _, f in frames} == {NOW}
        assert sum(len(f) for _, f in frames) == 120_000
        assert all(f.clock_epoch == 0 for _, f in frames)
