"""What was recorded comes out again: values, qualities, gaps, and times moved as one."""

from __future__ import annotations

import asyncio
import json
import math
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import structlog
from asyncua import Client, ua
from hypothesis import given
from hypothesis import strategies as st

from historian.embedded import EmbeddedStore
from historian.errors import WrongInput
from historian.frame import NS, Frame
from historian.quality import BAD, GOOD, LAST_USABLE, NO_DATA, SENSOR_FAILURE
from historian.tags import Tag, TagKind
from meltledger.cli import main
from simulator.mqtt_json import Form, serve_json
from simulator.opcua.server import NAMESPACE, serve
from simulator.recorded.csv_file import Samples, read_csv, time_of
from simulator.recorded.parquet_file import read_parquet
from simulator.recorded.playback import FileRecording, Playback, StoreRecording, recording_at
from simulator.serving.broker import broker_at
from simulator.serving.ledger import HEADER
from simulator.serving.serving import Serving
from tests.support.hearer import Hearer
from tests.support.mosquitto import Mosquitto
from tests.support.ports import free_port

T0_NS = 1_700_000_000 * NS
PRESSURE = Tag("filter.inlet.pressure.pv", "bar")
STATE = Tag("filter.wiper.state", "1", TagKind.CODE)
MINE = Tag("my.own.pv", "mm/s", text="my.own.pv")
BEAT = Tag("edge.heartbeat.state", "1", TagKind.BOOLEAN)
TAGS = (PRESSURE, STATE, MINE)

Row = tuple[str, int, float | None, int]
# Half seconds, a gap of a minute and a half, times below a microsecond, every kind of quality.
ROWS: tuple[Row, ...] = (
    (PRESSURE.path, T0_NS, 71.25, GOOD),
    (STATE.path, T0_NS, 1.0, GOOD),
    (PRESSURE.path, T0_NS + 500_000_000, 71.5, GOOD),
    (PRESSURE.path, T0_NS + NS, 71.0, LAST_USABLE),
    (PRESSURE.path, T0_NS + 1_000_000_007, None, NO_DATA),
    (STATE.path, T0_NS + 2 * NS, None, SENSOR_FAILURE),
    (PRESSURE.path, T0_NS + 92 * NS, 3.0, GOOD),
    (MINE.path, T0_NS + 93 * NS + 1, -0.5, GOOD),
)


def store_in(folder: Path, rows: Sequence[Row]) -> Path:
    """A store with these rows, arriving in three frames, late ones too; and the edge's heartbeat."""
    store = EmbeddedStore.open(folder)
    ids = {path: tag.id for path, tag in store.register([BEAT, *TAGS]).items()}
    late, first, second = rows[2:3], rows[:2], rows[3:]
    for part in (first, second, late):
        columns = zip(*((ids[p], t, math.nan if v is None else v, q) for p, t, v, q in part), strict=True)
        store.append(Frame.of(*columns, arrival_ns=T0_NS + 100 * NS))
    store.append(Frame.of([ids[BEAT.path]], [T0_NS + NS], [1.0], [GOOD], arrival_ns=T0_NS + 100 * NS))
    store.close()
    return folder


def long_in(file: Path, rows: Sequence[Row]) -> Path:
    lines = [",".join(HEADER)] + [f"{p},{t},{math.nan if v is None else v},{q},1" for p, t, v, q in rows]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def played(playback: Playback, until: int | None = None) -> list[Row]:
    """Everything that the feed gives, second by second."""
    last = playback.last_s if until is None else until
    assert last is not None
    return [
        (s.path, s.time_ns, None if math.isnan(s.value) else s.value, s.quality)
        for second in range(last + 1)
        for s in playback.at(second)
    ]


def parquet_in(file: Path, rows: Sequence[Row], **columns: Any) -> Path:
    """The rows as a Parquet file in the long form; ``columns`` stand instead of the ordinary ones."""
    paths, times, values, qualities = zip(*rows, strict=True)
    table: dict[str, Any] = {
        "tag": pa.array(paths).dictionary_encode(),
        "time": pa.array(times, pa.timestamp("ns", tz="UTC")),
        "value": pa.array([math.nan if v is None else v for v in values], pa.float64()),
        "quality": pa.array(qualities, pa.uint32()),
        **columns,
    }
    pq.write_table(pa.table({name: column for name, column in table.items() if column is not None}), file)
    return file


@pytest.fixture(params=["store", "long", "parquet"])
def recorded(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    if request.param == "store":
        return store_in(tmp_path / "store", ROWS)
    if request.param == "parquet":
        return parquet_in(tmp_path / "rows.parquet", ROWS)
    return long_in(tmp_path / "rows.csv", ROWS)


def test_what_goes_in_comes_out_moved_as_one(recorded: Path) -> None:
    with closing(Playback(recording_at(recorded))) as playback:
        now_ns = T0_NS + 123_456_789_012_345
        zero_ns = playback.begin(now_ns)
        rows = played(playback)
    move_ns = zero_ns - T0_NS
    assert move_ns % 1_000_000 == 0
    assert now_ns - 1_000_000 < zero_ns <= now_ns
    assert sorted(rows, key=str) == sorted(((p, t + move_ns, v, q) for p, t, v, q in ROWS), key=str)
    assert [t for _, t, _, _ in rows] == sorted(t for _, t, _, _ in rows)


def test_times_are_kept_where_asked(recorded: Path) -> None:
    with closing(Playback(recording_at(recorded), keep_times=True)) as playback:
        assert playback.begin(T0_NS * 2) == T0_NS
        assert sorted(played(playback), key=str) == sorted(ROWS, key=str)


def test_nothing_comes_before_its_time_and_a_gap_stays_a_gap(recorded: Path) -> None:
    with closing(Playback(recording_at(recorded))) as playback:
        playback.begin(0)
        given = [len(playback.at(second)) for second in range(95)]
    assert playback.last_s == 94
    assert given[:4] == [2, 2, 2, 0]
    assert given[4:92] == [0] * 88
    assert given[92:] == [1, 0, 1]


def test_a_changed_sample_is_told_from_a_repeated_one(tmp_path: Path) -> None:
    values = [1.0, 1.0, None, None, 1.0]
    rows = [(PRESSURE.path, T0_NS + k * NS, v, GOOD if v else NO_DATA) for k, v in enumerate(values)]
    playback = Playback(FileRecording(long_in(tmp_path / "rows.csv", rows)))
    playback.begin(T0_NS)
    assert [s.changed for k in range(5) for s in playback.at(k)] == [True, False, True, False, True]


def test_the_tags_of_a_store_are_marked_as_played(tmp_path: Path) -> None:
    with closing(StoreRecording(store_in(tmp_path / "store", ROWS))) as recording:
        assert [(t.path, t.unit, t.kind, t.simulated, t.source) for t in recording.tags] == [
            (t.path, t.unit, t.kind, True, "playback") for t in TAGS
        ]


def test_a_store_without_samples_of_a_line_is_refused(tmp_path: Path) -> None:
    store = EmbeddedStore.open(tmp_path / "store")
    store.register([BEAT])
    store.close()
    with pytest.raises(WrongInput, match="no sample of a line"):
        recording_at(tmp_path / "store")


def wide(tmp_path: Path, text: str) -> tuple[tuple[Tag, ...], list[tuple[int, int, float | None, int]]]:
    file = tmp_path / "wide.csv"
    file.write_text(text, encoding="utf-8")
    tags, samples = read_csv(file)
    columns = (samples.column, samples.time_ns, samples.value, samples.quality)
    return tags, [
        (c, t, None if math.isnan(v) else v, q)
        for c, t, v, q in zip(*(x.tolist() for x in columns), strict=True)
    ]


def test_a_wide_file_with_units_qualities_and_gaps(tmp_path: Path) -> None:
    tags, rows = wide(
        tmp_path,
        "time,filter.inlet.pressure.pv,filter.inlet.pressure.pv:quality,my.own.pv,filter.wiper.park.state\n"
        "unit,MPa,,mm/s,\n"
        "2023-11-14T22:13:20Z,7.125,,1,true\n"
        "\n"
        "2023-11-14T23:13:21.5+01:00,nan,,,false\n"
        "2023-11-14 22:13:22,7.0,0x40900000,2,\n"
        f"{T0_NS + 3 * NS},7.5,bad,3,\n",
    )
    assert [(t.path, t.unit, t.kind) for t in tags] == [
        (PRESSURE.path, "bar", TagKind.ANALOG),
        (MINE.path, "mm/s", TagKind.ANALOG),
        ("filter.wiper.park.state", "1", TagKind.BOOLEAN),
    ]
    assert rows == [
        (0, T0_NS, 71.25, GOOD),
        (1, T0_NS, 1.0, GOOD),
        (2, T0_NS, 1.0, GOOD),
        (0, T0_NS + 1_500_000_000, None, NO_DATA),
        (2, T0_NS + 1_500_000_000, 0.0, GOOD),
        (0, T0_NS + 2 * NS, 70.0, LAST_USABLE),
        (1, T0_NS + 2 * NS, 2.0, GOOD),
        (0, T0_NS + 3 * NS, 75.0, BAD),
        (1, T0_NS + 3 * NS, 3.0, GOOD),
    ]


def test_a_wide_file_without_units_with_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    tags, rows = wide(
        tmp_path, "\ufefft;filter.inlet.pressure.pv\n2023-11-14T22:13:21Z;71,5\n2023-11-14T22:13:20Z;71\n"
    )
    assert [t.unit for t in tags] == ["bar"]
    assert rows == [(0, T0_NS, 71.0, GOOD), (0, T0_NS + NS, 71.5, GOOD)]


def test_a_long_file_with_units(tmp_path: Path) -> None:
    tags, rows = wide(
        tmp_path,
        "time\ttag\tvalue\tunit\n2023-11-14T22:13:20Z\tfilter.inlet.pressure.pv\t7.125\tMPa\n"
        "2023-11-14T22:13:20Z\tmy.own.pv\t1\tmm/s\n",
    )
    assert [t.unit for t in tags] == ["bar", "mm/s"]
    assert rows == [(0, T0_NS, 71.25, GOOD), (1, T0_NS, 1.0, GOOD)]


HEAD = "time,filter.inlet.pressure.pv\n"


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", r":1: a heading"),
        ("time\n1\n", r":1: a heading"),
        (HEAD, "there is no sample"),
        (HEAD + "2023-11-14T22:13:20Z,\n", "there is no sample"),
        (HEAD + "yesterday,1\n", ":2: 'yesterday' is no time"),
        (HEAD + "\n1700000000,1\n", ":3: '1700000000' is too small"),
        (HEAD + "2023-11-14T22:13:20Z,much\n", ":2: 'much' is no number"),
        (HEAD + "unit,furlong\n", ":2: the unit 'furlong' is not known"),
        (HEAD + "unit,kg/h\n", ":2: .*do not measure the same"),
        ("time,Pressure 1\n2023-11-14T22:13:20Z,1\n", ":2: 'Pressure 1' is not a tag path"),
        ("time,a.b,a.b\n2023-11-14T22:13:20Z,1,2\n", "stands there twice"),
        ("time,a.b,a.c:quality\n2023-11-14T22:13:20Z,1,2\n", "no column a.c beside it"),
        ("time,a.b,a.b:quality\n2023-11-14T22:13:20Z,1,fine\n", ":2: 'fine' is no quality"),
        ("time,a.b,a.b:quality\n2023-11-14T22:13:20Z,1,-1\n", ":2: '-1' is no StatusCode"),
        ("tag,value\na.b,1\n", "a column 'time'"),
        ("time,tag,value\n2023-11-14T22:13:20Z,a.b\n", ":2: this row has fewer cells"),
        (
            "time,tag,value,unit\n1700000000000000000,a.b,1,bar\n1700000000000000000,a.b,1,MPa\n",
            ":3: a.b is in",
        ),
    ],
)
def test_a_file_that_cannot_be_played_is_refused_with_its_line(
    tmp_path: Path, text: str, reason: str
) -> None:
    with pytest.raises(WrongInput, match=reason):
        wide(tmp_path, text)


def test_a_file_that_is_not_there_or_no_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match=r"none\.csv: the file cannot be read"):
        recording_at(tmp_path / "none.csv")
    (tmp_path / "picture").write_bytes(b"\x89PNG\xff\xfe,\n")
    with pytest.raises(WrongInput, match="not a CSV file in UTF-8"):
        recording_at(tmp_path / "picture")


def test_a_parquet_file_may_say_less_and_in_other_types(tmp_path: Path) -> None:
    file = parquet_in(
        tmp_path / "rows.parquet",
        [(PRESSURE.path, T0_NS, 7.125, GOOD), (MINE.path, T0_NS, None, GOOD)],
        tag=None, path=pa.array([PRESSURE.path, MINE.path]),
        time=pa.array([T0_NS // 1_000_000] * 2, pa.timestamp("ms")),
        value=pa.array([7.125, None], pa.float32()),
        quality=None, unit=pa.array(["MPa", "mm/s"]),
    )  # fmt: skip
    tags, samples = read_parquet(file)
    assert [(t.path, t.unit) for t in tags] == [(PRESSURE.path, "bar"), (MINE.path, "mm/s")]
    assert samples.time_ns.tolist() == [T0_NS, T0_NS]
    assert samples.value[0] == 71.25 and math.isnan(samples.value[1])
    assert samples.quality.tolist() == [GOOD, NO_DATA]


TWO = [(PRESSURE.path, T0_NS, 1.0, GOOD), (PRESSURE.path, T0_NS + NS, 2.0, GOOD)]


@pytest.mark.parametrize(
    ("columns", "reason"),
    [
        ({"tag": None}, r"a column 'tag or path' is needed; there are time, value, quality"),
        ({"time": None}, "a column 'time_ns or time' is needed"),
        ({"value": None}, "a column 'value' is needed"),
        ({"tag": pa.array([PRESSURE.path, None])}, "row 2: there is no tag"),
        ({"time": pa.array([None, T0_NS])}, "row 1: there is no time"),
        ({"time": pa.array([0.5, 1.5])}, "the times are double; timestamps or whole nanoseconds"),
        ({"tag": pa.array(["a.b", "Pressure 1"])}, "Pressure 1: 'Pressure 1' is not a tag path"),
        ({"value": pa.array(["much", "more"])}, "a column holds something else"),
        ({"quality": pa.array([0, 2**32])}, "row 2: '4294967296' is no StatusCode"),
        ({"unit": pa.array(["bar", "MPa"])}, "row 2: filter.inlet.pressure.pv is in 'MPa' here and in 'bar'"),
        ({"unit": pa.array(["kg/h", "kg/h"])}, "filter.inlet.pressure.pv: .*do not measure the same"),
    ],
)
def test_a_parquet_file_that_cannot_be_played_is_refused_with_its_row(
    tmp_path: Path, columns: dict[str, Any], reason: str
) -> None:
    file = parquet_in(tmp_path / "rows.parquet", TWO, **columns)
    with pytest.raises(WrongInput, match=rf"rows\.parquet: {reason}"):
        read_parquet(file)


def test_an_empty_or_damaged_parquet_file_is_refused(tmp_path: Path) -> None:
    pq.write_table(
        pa.table({"tag": pa.array([], pa.string()), "time": [], "value": []}), tmp_path / "e.parquet"
    )
    with pytest.raises(WrongInput, match="there is no sample in it"):
        recording_at(tmp_path / "e.parquet")
    (tmp_path / "d.parquet").write_bytes(b"PAR1 not")
    with pytest.raises(WrongInput, match="not a Parquet file"):
        recording_at(tmp_path / "d.parquet")


@given(st.integers(10_000_000 * NS, 4_000_000_000 * NS))
def test_times_are_read_to_the_nanosecond(time_ns: int) -> None:
    seconds, rest = divmod(time_ns, NS)
    text = np.datetime64(seconds, "s").astype(str)
    assert time_of(f"{text}.{rest:09d}Z") == time_ns
    assert time_of(str(time_ns)) == time_ns


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path / "broker") as broker:
        yield broker


class _Rows:
    """A recording from memory."""

    def __init__(self, times: list[int]) -> None:
        self.tags = (PRESSURE,)
        self._times = np.array(sorted(times), dtype=np.int64)
        self.span = int(self._times[0]), int(self._times[-1])

    def between(self, start_ns: int, end_ns: int) -> Samples:
        t = self._times[(self._times >= start_ns) & (self._times < end_ns)]
        return Samples(np.zeros(len(t), np.int64), t, np.arange(len(t)) * 1.0, np.zeros(len(t), np.uint32))

    def close(self) -> None:
        """Nothing to close."""


@given(st.lists(st.integers(T0_NS, T0_NS + 200 * NS), min_size=1), st.integers(0, 4_000_000_000 * NS))
def test_any_times_are_moved_by_one_span_and_none_is_lost(times: list[int], now_ns: int) -> None:
    playback = Playback(_Rows(times))
    zero_ns = playback.begin(now_ns)
    assert 0 <= now_ns - zero_ns < 1_000_000
    assert playback.last_s is not None
    given_ns = []
    for second in range(playback.last_s + 1):
        due = [s.time_ns for s in playback.at(second)]
        assert all(zero_ns + (second - 1) * NS < t <= zero_ns + second * NS for t in due)
        given_ns += due
    assert given_ns == [t + zero_ns - min(times) for t in sorted(times)]


@pytest.mark.broker
async def test_a_recording_over_mqtt(mosquitto: Mosquitto, tmp_path: Path) -> None:
    hearer, told = Hearer(mosquitto.port, "line/#"), []
    playback = Playback(FileRecording(long_in(tmp_path / "rows.csv", ROWS)))
    broker = broker_at(f"mqtt://127.0.0.1:{mosquitto.port}")
    begun_ns = time.time_ns()
    await serve_json(playback, broker, Form(playback.tags, "line"), speed=100.0, ready=told.append)
    await asyncio.to_thread(hearer.wait, lambda m: len(m) == len(ROWS))
    hearer.close()
    (serving,) = told
    assert begun_ns - NS // 1000 <= serving.t0_ns <= time.time_ns()
    move_ns = serving.t0_ns - T0_NS
    heard = []
    for topic, payload, _, _ in hearer.messages:
        body = json.loads(payload)
        path = topic.removeprefix("line/").replace("/", ".")
        heard.append((path, time_of(body["t"]) - move_ns, body["v"], body["q"]))
    assert sorted(heard, key=str) == sorted(ROWS, key=str)


async def test_a_recording_over_opc_ua(tmp_path: Path) -> None:
    playback = Playback(FileRecording(long_in(tmp_path / "rows.csv", ROWS)), keep_times=True)
    stop = asyncio.Event()
    ready: asyncio.Future[Serving] = asyncio.get_running_loop().create_future()
    options: dict[str, Any] = {"stop": stop, "ready": ready.set_result, "speed": 10.0}
    async with asyncio.TaskGroup() as group:
        group.create_task(serve(playback, endpoint=f"opc.tcp://127.0.0.1:{free_port()}", **options))
        async with Client((await ready).endpoint) as client:
            index = await client.get_namespace_index(NAMESPACE)

            async def read(path: str) -> ua.DataValue:
                node = client.get_node(ua.NodeId(path, index))
                return await node.read_data_value(raise_on_bad_status=False)

            mine = await read(MINE.path)
            assert mine.StatusCode.value == 0x80320000, "a tag without a sample waits for its first one"
            await asyncio.sleep(0.5)
            pressure, state = await read(PRESSURE.path), await read(STATE.path)
        stop.set()
    assert pressure.StatusCode.value == NO_DATA
    assert pressure.SourceTimestamp.timestamp() == T0_NS / NS + 1
    assert state.StatusCode.value == SENSOR_FAILURE


@pytest.fixture
def own_log() -> Iterator[None]:
    """The verb sends the log to this test's standard error, which later ones do not have."""
    yield
    structlog.reset_defaults()


def exit_code(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(["simulate", *arguments])
    return int(caught.value.code or 0)


@pytest.mark.usefixtures("own_log")
@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        ([], "say one of SCENARIO and --from FILE"),
        (["trial_day", "--from", "x"], "say one of SCENARIO and --from FILE"),
        (["--from", "x"], "say over what the recording is played"),
        (["--from", "x", "--serve", "mqtt", "--start-at", "5"], "--start-at is for scenarios"),
        (["--from", "none.csv", "--serve", "mqtt"], "none.csv: the file cannot be read"),
        (["trial_day"], "say one of --serve and --to FOLDER or FILE.parquet"),
        (["trial_day", "--serve", "mqtt", "--keep-times"], "--keep-times is for recordings"),
        (["trial_day", "--serve", "mqtt", "--secure", "x"], "--secure is for OPC UA"),
        (["trial_day", "--serve", "mqtt", "--bd-seq-file", "x"], "--bd-seq-file is for Sparkplug"),
        (["trial_day", "--serve", "mqtt", "--trouble", "x"], "x: cannot be read as a file of troubles"),
        (["trial_day", "--serve", "mqtt", "--variant", "x"], "'x' names no variant"),
        (["--from", "x", "--serve", "mqtt", "--variant", "faulty:1"], "--variant is for scenarios"),
        (["--from", "none.parquet", "--serve", "mqtt"], "none.parquet: the file cannot be read"),
        (["trial_day", "--serve", "mqtt", "--broker", "x"], "write mqtt://HOST:1883"),
        (["trial_day", "--serve", "mqtt", "--speed", "50"], "1 to 20 times real time"),
        (["trial_day", "--serve", "sparkplug", "--group", "a/b"], "the Sparkplug group is a word"),
    ],
)
def test_wrong_use_is_told(
    arguments: list[str],
    reason: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert exit_code(*arguments) == 2
    assert reason in capsys.readouterr().err


@pytest.mark.broker
@pytest.mark.usefixtures("own_log")
@pytest.mark.parametrize("protocol", ["mqtt", "sparkplug", "opcua"])
def test_the_verb_plays_a_file_to_its_end(
    protocol: str, mosquitto: Mosquitto, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ledger = tmp_path / "ledger.csv"
    file = long_in(tmp_path / "rows.csv", ROWS)
    where = [
        "--broker",
        f"mqtt://127.0.0.1:{mosquitto.port}",
        "--endpoint",
        f"opc.tcp://127.0.0.1:{free_port()}",
    ]
    how = ["--speed", "200", "--keep-times", "--ledger", str(ledger)]
    assert exit_code("--from", str(file), "--serve", protocol, *where, *how) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[0])["t0_ns"] == T0_NS
    with closing(Playback(FileRecording(ledger), keep_times=True)) as again:
        again.begin(0)
        assert sorted(played(again), key=str) == sorted(ROWS, key=str)


SHORT = """
[scenario]
title = "Cold line"
seed = 5
duration = "40 s"

[material]
polymer = "LDPE"
form = "flakes"
lot = "1"
dirt_percent = 2.0

[line]
plates = 8
"""


@pytest.mark.broker
@pytest.mark.usefixtures("own_log")
def test_a_file_that_a_scenario_was_written_to_is_played_again_whole(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    scenario, file, ledger = tmp_path / "short.toml", tmp_path / "short.parquet", tmp_path / "ledger.csv"
    scenario.write_text(SHORT, encoding="utf-8")
    assert exit_code(str(scenario), "--to", str(file), "--begin", str(T0_NS), "--variant", "healthy:2") == 0
    assert json.loads((tmp_path / "short.truth.json").read_text(encoding="utf-8")) == []
    assert (tmp_path / "short.events.json").exists()
    where = f"mqtt://127.0.0.1:{mosquitto.port}"
    how = ["--batch", "--speed", "500", "--keep-times", "--ledger", str(ledger)]
    assert exit_code("--from", str(file), "--serve", "mqtt", "--broker", where, *how) == 0
    tags, samples = read_parquet(file)
    assert len(tags) > 100 and {t.kind for t in tags} == set(TagKind)
    written = zip(
        *(c.tolist() for c in (samples.column, samples.time_ns, samples.value, samples.quality)), strict=True
    )
    with closing(Playback(FileRecording(ledger), keep_times=True)) as again:
        again.begin(0)
        assert sorted(played(again), key=str) == sorted(
            ((tags[c].path, t, None if math.isnan(v) else v, q) for c, t, v, q in written), key=str
        )
