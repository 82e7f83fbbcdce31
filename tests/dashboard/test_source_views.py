"""How each source does, in the words of the live page's foot."""

from __future__ import annotations

from dashboard.now import Now
from dashboard.source_views import source_views
from historian.frame import NS
from historian.store import Sample
from historian.tags import Tag
from rules.entry import Entry, EntryKind

NOW_NS = 1_777_874_400 * NS
TAGS = {
    "filter.dp.calc": Tag("filter.dp.calc", "bar", source="filter-plc"),
    "edge.heartbeat.state": Tag("edge.heartbeat.state", "1", source="edge"),
}


def now(**ages_s: float) -> Now:
    paths = {"filter": "filter.dp.calc", "edge": "edge.heartbeat.state"}
    latest = {paths[name]: Sample(at := NOW_NS - int(age * NS), 1.0, 0, at) for name, age in ages_s.items()}
    return Now(TAGS, latest, NOW_NS, "Europe/Madrid")


def said(state: str, text: str, *unknown: str) -> Entry:
    status = {"name": "filter-plc", "state": state, "text": text, "unknown": list(unknown)}
    return Entry(
        "1", NOW_NS, EntryKind.EVENT, by="filter-plc", data={"kind": "x", "text": text, "data": status}
    )


def words(one: Now, *events: Entry) -> dict[str, str]:
    return {view.name: view.sentence for view in source_views(one, events)}


def test_the_recorders_heartbeat_alone_is_no_data() -> None:
    alone = now(edge=0.5)
    assert not alone.flowing
    assert alone.newest_arrival_ns == 0
    told = words(alone, said("waiting", "Source filter-plc does not answer."))
    assert told["edge"] == "recorder: runs"
    assert told["filter-plc"] == "filter-plc: no data yet. Source filter-plc does not answer."
    assert now(edge=0.5, filter=0.5).flowing


def test_a_source_that_delivers_names_what_it_cannot() -> None:
    told = words(now(filter=0.5), said("connected", "is connected", "water.flow.pv"))
    assert (
        told["filter-plc"]
        == "filter-plc: delivers, but not 1 of its tags (water.flow.pv); the journal says why"
    )
    assert words(now(filter=0.5), said("connected", "is connected"))["filter-plc"] == "filter-plc: delivers"


def test_an_old_loss_is_not_told_of_a_source_that_delivers_again() -> None:
    told = words(now(filter=0.5), said("lost", "is lost"), said("connected", "is connected"))
    assert told["filter-plc"] == "filter-plc: delivers"
    silent = words(now(filter=60), said("lost", "Source filter-plc is lost."))
    assert silent["filter-plc"].endswith("(60 s). Source filter-plc is lost.")
