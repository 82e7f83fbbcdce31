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


def with_health(age_s: float = 1.0, **figures: float) -> Now:
    """The source's own signals live, and its health as it was kept so long ago."""
    one = now(edge=0.5, filter=0.5)
    kept_ns = NOW_NS - int(age_s * NS)
    names = {what.replace("__", "."): value for what, value in figures.items()}
    health = {f"edge.{what}": Sample(kept_ns, value, 0, kept_ns) for what, value in names.items()}
    tags = {p: Tag(p, "1", source="edge") for p in health}
    return Now({**TAGS, **tags}, {**one.latest, **health}, NOW_NS, "Europe/Madrid")


def press(**figures: float) -> dict[str, float]:
    return {f"source__filter_plc__{what}": value for what, value in figures.items()}


def healths(one: Now) -> dict[str, str]:
    return {view.name: view.health for view in source_views(one, [])}


QUIET = press(
    rate__calc=47.6, lag__calc=0.31, lag__worst__calc=0.6, clock__offset__calc=0.2, clock__uncertainty__calc=0.5,
    gaps__total=0.0, gaps__time__total=0.0, missed__total=0.0, overflows__total=0.0, rejected__total=0.0,
)  # fmt: skip


def test_a_source_that_does_well_says_how_much_and_how_late() -> None:
    told = healths(with_health(**QUIET))
    assert told == {"filter-plc": "48 values a second, 0.3 s behind", "edge": ""}


def test_what_matters_is_told_and_only_then() -> None:
    late = with_health(**{**QUIET, **press(lag__worst__calc=14.0, gaps__total=2.0, gaps__time__total=130.0)})
    assert healths(late)["filter-plc"] == (
        "48 values a second, 0.3 s behind (up to 14 s in the last minute), lost 2 times since the start, 2 min in all"
    )
    ahead = with_health(
        **{**QUIET, **press(clock__offset__calc=3600.2, lag__calc=-3600.0, rejected__total=3.0)}
    )
    assert healths(ahead)["filter-plc"] == (
        "48 values a second, its clock 60 min ahead of this computer's (± 0.5 s), 3 values not readable"
    )
    behind = with_health(**{**QUIET, **press(clock__offset__calc=-1.6, rate__calc=0.2, gaps__total=1.0)})
    assert healths(behind)["filter-plc"] == (
        "0.2 values a second, 1.6 s behind, on the way or by its clock, lost once since the start"
    )
    wrong = with_health(**{**QUIET, **press(clock__offset__calc=-7200.0, clock__wrong__state=1.0)})
    assert healths(wrong)["filter-plc"] == (
        "48 values a second, its clock 2 h behind this computer's (± 0.5 s)"
    )


def test_health_that_is_old_says_nothing_of_now() -> None:
    assert healths(with_health(31.0, **QUIET))["filter-plc"] == ""
    assert healths(now(edge=0.5, filter=0.5))["filter-plc"] == ""


def test_the_recorder_tells_of_its_disk_when_a_person_should_know() -> None:
    well = {"store__commit__age__calc": 0.4, "store__backlog__calc": 9.0, "store__disk__free__calc": 55.0}
    assert healths(with_health(**well))["edge"] == ""
    wrong = {**well, "clock__wrong__state": 1.0}
    assert healths(with_health(**wrong))["edge"] == "this computer's clock is wrong; the journal says how"
    ill = {**well, "store__commit__age__calc": 95.0, "store__disk__free__calc": 3.2}
    assert healths(with_health(**ill))["edge"] == (
        "nothing put on disk for 2 min, 9 values wait, only 3 % of the disk free"
    )
