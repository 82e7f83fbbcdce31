"""A store on a server is read with fixed clock offsets as any other."""

from __future__ import annotations

import pytest

from historian import NS, Frame
from historian.clocks.retimed import Retimed
from historian.rollups.columns import HOUR_NS
from tests.historian.clocks.test_retimed import EVER, T0, TAGS, fix
from tests.historian.influx.line import Line


@pytest.mark.influx
def test_a_store_on_a_server_is_read_the_same_way(line: Line) -> None:
    writer = line.writer()
    writer.register(TAGS)
    writer.append(
        Frame.of([1, 1, 2], [T0, T0 + 60 * NS, T0], [1.0, 2.0, 3.0], [0] * 3, arrival_ns=T0 + 60 * NS)
    )
    retimed = Retimed(line.reader(), lambda: [fix(T0, T0 + NS, -HOUR_NS)])
    found = retimed.read([TAGS[0].path, TAGS[1].path], *EVER)
    assert found[TAGS[0].path].time_ns.tolist() == [T0 - HOUR_NS, T0 + 60 * NS]
    assert found[TAGS[1].path].time_ns.tolist() == [T0]
    assert retimed.rollup([TAGS[0].path], *EVER, HOUR_NS).start_ns.tolist() == [T0 - HOUR_NS, T0]
