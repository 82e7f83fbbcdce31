"""doctor, backup and restore on the command line: what they say and how they end."""

from __future__ import annotations

import itertools
import json
import threading
from contextlib import closing
from pathlib import Path

import pytest

from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import Upkeep
from historian.frame import Frame
from historian.quality import SENSOR_FAILURE
from historian.retention import Keep
from historian.rollups.columns import HOUR_NS
from meltledger.parts import is_written, only_writer
from tests.historian.care.lines import PATHS, T0, Folder, expected, flip, scan
from tests.meltledger.test_cli import exit_code


@pytest.fixture
def line(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "store")


def test_the_doctor_is_content_with_a_sound_store(line: Folder, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("doctor", str(line.folder)) == 0
    assert "every check sum matches; 0 notes" in capsys.readouterr().out


def test_the_doctor_finds_mends_and_is_content_after(
    line: Folder, capsys: pytest.CaptureFixture[str]
) -> None:
    flip(line.path(0, "wide"))
    assert exit_code("doctor", str(line.folder)) == 1
    said = capsys.readouterr().out
    assert "damaged: archive/line=line-1/" in said and "1 thing wrong" in said and "--repair" in said
    assert exit_code("doctor", str(line.folder), "--json") == 1
    (finding,) = json.loads(capsys.readouterr().out)["findings"]
    assert finding["trouble"] == "damaged" and not finding["note"]
    assert exit_code("doctor", str(line.folder), "--repair") == 1
    assert "done: archive/manifest.json: written anew" in capsys.readouterr().out
    assert exit_code("doctor", str(line.folder)) == 0


def test_a_note_alone_is_no_fault(line: Folder, capsys: pytest.CaptureFixture[str]) -> None:
    line.compact()
    assert exit_code("doctor", str(line.folder)) == 0
    assert "note: rollups/manifest.json: one-minute rollups" in capsys.readouterr().out


def test_a_backup_goes_out_and_comes_back(
    line: Folder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy, again = str(tmp_path / "copy.tar"), tmp_path / "again"
    assert exit_code("backup", str(line.folder), copy) == 0
    assert "every check sum matches" in capsys.readouterr().out
    assert exit_code("restore", copy, str(again)) == 0
    assert "files restored" in capsys.readouterr().out
    line.folder = again
    assert line.samples() == expected(180)
    assert exit_code("restore", copy, str(again)) == 2
    assert "holds something already" in capsys.readouterr().err


def test_a_backup_that_was_cut_short_is_refused(
    line: Folder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.tar"
    exit_code("backup", str(line.folder), str(copy))
    copy.write_bytes(copy.read_bytes()[:5000])
    assert exit_code("restore", str(copy), str(tmp_path / "again")) == 2
    assert "copy.tar" in capsys.readouterr().err
    assert not (tmp_path / "again").exists()


@pytest.mark.parametrize("verb", ["doctor", "backup", "restore"])
def test_a_place_without_a_store_is_wrong_use(verb: str, tmp_path: Path) -> None:
    arguments = [str(tmp_path / "none")] + ([str(tmp_path / "x")] if verb != "doctor" else [])
    assert exit_code(verb, *arguments) == 2


def everything(folder: Path) -> dict[str, object]:
    """All that a reader can be told of a store, sample by sample."""
    paths = list(PATHS.values())
    with closing(EmbeddedStore.open(folder, mode="read")) as store:
        series = store.read(paths, 0, 2**62)
        rows = store.rollup(paths, T0, T0 + 96 * HOUR_NS, HOUR_NS)
        return {
            "samples": {p: [c.tolist() for c in (s.time_ns, s.value, s.quality)] for p, s in series.items()},
            "frames": [(n, f.arrival_ns, f.clock_epoch, f.value.tolist()) for n, f in store.frames()],
            "tags": store.tags(),
            "latest": store.latest(),
            "modified": [store.modified(p, 0, 2**62) for p in paths],
            "rollups": (
                rows.start_ns.tolist(),
                rows.samples.tolist(),
                rows.bad.tolist(),
                rows.maximum.tolist(),
            ),
            "last": store.last_number(),
        }


def test_a_backup_of_a_line_that_runs_holds_all_and_goes_on_as_the_line_itself(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Hours are sealed, days made and rolled up, late samples merged, while copies are made."""
    line = Folder(tmp_path / "store", hours=1, sealed=0, tidy=False)
    stop, minutes = threading.Event(), [60]

    def run() -> None:
        store = EmbeddedStore.open(line.folder)
        upkeep = Upkeep.open(line.folder, "line-1", Keep())
        while not stop.is_set() and minutes[0] < 26 * 60:
            frame = scan(minutes[0])
            store.append(frame)
            minutes[0] += 1
            if minutes[0] % 50 == 0:
                # The same again with another value, half an hour late.
                late = scan(minutes[0] - 30)
                store.append(
                    Frame(
                        late.tag[:3],
                        late.time_ns[:3],
                        late.value[:3],
                        late.quality[:3] + SENSOR_FAILURE,
                        frame.arrival_ns,
                    )
                )
            if minutes[0] % 30 == 0:
                upkeep.step(frame.arrival_ns)
        upkeep.close()
        store.close()

    thread = threading.Thread(target=run)
    with only_writer(line.folder):
        thread.start()
        try:
            for number in itertools.count():
                if not thread.is_alive():
                    break
                before = minutes[0]
                assert exit_code("backup", str(line.folder), str(tmp_path / f"copy-{number}.tar")) == 0
                after = minutes[0]
                again = tmp_path / f"again-{number}"
                assert exit_code("restore", str(tmp_path / f"copy-{number}.tar"), str(again)) == 0
                times = {(tag, at) for tag, at, _ in samples_of(again)}
                assert times_of(before) <= times <= times_of(after + 1)
                # Not one after the other, or the line would not get far.
                thread.join(0.3)
        finally:
            stop.set()
            thread.join()
    assert number > 1 and minutes[0] == 26 * 60
    assert exit_code("backup", str(line.folder), str(tmp_path / "last.tar")) == 0
    assert exit_code("restore", str(tmp_path / "last.tar"), str(tmp_path / "last")) == 0
    assert everything(tmp_path / "last") == everything(line.folder)
    assert sum(map(len, everything(line.folder)["modified"])) > 0  # type: ignore[call-overload, arg-type]
    for folder in (tmp_path / "last", line.folder):
        go_on(folder, minutes[0])
        assert exit_code("doctor", str(folder)) == 0
    assert everything(tmp_path / "last") == everything(line.folder)


def samples_of(folder: Path) -> set[tuple[int, int, float]]:
    line = Folder.__new__(Folder)
    line.folder = folder
    return line.samples()


def times_of(minutes: int) -> set[tuple[int, int]]:
    return {(tag, at) for tag, at, _ in expected(minutes)}


def go_on(folder: Path, minute: int) -> None:
    with closing(EmbeddedStore.open(folder)) as store:
        store.append(*(scan(m) for m in range(minute, minute + 130)))
    with closing(Upkeep.open(folder, "line-1", Keep())) as upkeep:
        upkeep.step(T0 + (minute + 260) * 60_000_000_000)


def test_a_line_that_runs_is_looked_at_and_not_mended(
    line: Folder, capsys: pytest.CaptureFixture[str]
) -> None:
    flip(line.path(0, "wide"))
    assert not is_written(line.folder)
    with only_writer(line.folder):
        assert is_written(line.folder)
        assert exit_code("doctor", str(line.folder)) == 1
        assert exit_code("doctor", str(line.folder), "--repair") == 2
        assert "another `meltledger run` writes here" in capsys.readouterr().err
    assert not (line.folder / "damaged").exists()
    assert exit_code("doctor", str(line.folder), "--repair") == 1
    assert not is_written(line.folder)


def test_what_was_left_to_be_sealed_is_told_to_be_whose_business_it_is_and_sealed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = Folder(tmp_path / "store", hours=5, sealed=1)
    with only_writer(line.folder):
        assert exit_code("doctor", str(line.folder)) == 1
    assert "at work here should have sealed it" in capsys.readouterr().out
    assert exit_code("doctor", str(line.folder), "--repair") == 1
    said = capsys.readouterr().out
    assert "unsealed: recent.db: 2030-01-01 01:00 UTC to 2030-01-01 03:00 UTC" in said
    assert "done: archive: " in said and "frames of closed hours were sealed" in said
    assert exit_code("doctor", str(line.folder)) == 0
    assert line.samples() == expected(300)


_LINE = """\
[line]
name = "line-1"
zone = "Europe/Madrid"

[store]
path = "store"

[[source]]
name = "panel"
kind = "opcua"
endpoint = "opc.tcp://127.0.0.1:4840"
simulated = true

[source.tags]
"filter.inlet.pressure.pv" = { node = "ns=1;s=a", unit = "bar" }
"""


def test_newest_samples_that_were_lost_are_told_and_the_lines_file_describes_its_tags_again(
    line: Folder, capsys: pytest.CaptureFixture[str]
) -> None:
    for path in [*line.folder.glob("recent.db*"), line.folder / "tags.json"]:
        path.unlink()
    file = line.folder.parent / "line.toml"
    file.write_text(_LINE, encoding="utf-8")
    assert exit_code("doctor", str(line.folder)) == 1
    assert "list: recent.db: " in capsys.readouterr().out
    assert exit_code("doctor", str(line.folder), "--line", str(file)) == 2
    assert exit_code("doctor", str(line.folder), "--repair", "--line", str(file)) == 1
    said = capsys.readouterr().out
    assert "done: recent.db: made anew, with 2 tags" in said
    assert "of 1 tags, such as filter.outlet.pressure.pv" in said
    assert exit_code("doctor", str(line.folder)) == 0
    with closing(EmbeddedStore.open(line.folder, mode="read")) as store:
        assert {t.path: (t.source, t.simulated) for t in store.tags().values()} == {
            "filter.inlet.pressure.pv": ("panel", True),
            "filter.outlet.pressure.pv": ("", True),
        }
    assert line.samples() == expected(120)


def test_a_folder_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    assert exit_code("doctor", str(tmp_path / "none"), "--repair") == 2
    assert not (tmp_path / "none").exists()
