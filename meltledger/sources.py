"""Builds the collector's sources from a line's file: one function for each kind."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from collector import Clock, Source, SourceMapping
from collector.machine_alarms import MachineAlarm
from historian.tags import Tag
from meltledger.brokers import broker_of
from meltledger.config import LineConfig
from meltledger.linefile import MqttJsonSection, OpcUaSection, SourceSection, SparkplugSection
from rules.journal import Journal

if TYPE_CHECKING:
    from collector.opcua.items import Asking


def source_mappings(config: LineConfig) -> list[SourceMapping]:
    """The line's sources as the collector takes them, in the order of the file."""
    units = {t.path: t.unit for t in config.tags}
    return [_mapping(section, units) for section in config.file.source]


def sources_of(
    config: LineConfig, tags: Mapping[str, Tag], clock: Clock, journal: Journal | None = None
) -> list[Source]:
    """The line's sources, ready to run, in the order of the file.

    Args:
        tags: as the store knows them, by path.
        clock: the edge's.
        journal: knows which of the machines' own alarms stood before; None for none.

    Raises:
        WrongInput: one cannot work as the file says; naming the source.
    """
    made: list[Source] = []
    for section, mapping in zip(config.file.source, source_mappings(config), strict=True):
        match section:
            case OpcUaSection():
                made.append(_opcua(section, mapping, config, tags, clock, journal))
            case MqttJsonSection():
                made.append(_mqtt_json(section, mapping, config, tags, clock))
            case SparkplugSection():
                made.append(_sparkplug(section, mapping, config, tags, clock))
    return made


def _mapping(section: SourceSection, units: Mapping[str, str]) -> SourceMapping:
    tags = tuple(tag.mapping(path, units[path]) for path, tag in section.delivers.items())
    return SourceMapping(section.name, section.where, section.simulated, tags, section.clock)


def _opcua(
    section: OpcUaSection,
    mapping: SourceMapping,
    config: LineConfig,
    tags: Mapping[str, Tag],
    clock: Clock,
    journal: Journal | None,
) -> Source:
    from collector.opcua.conditions import Conditions
    from collector.opcua.source import OpcUaSource
    from meltledger.access import access_of

    alarms: Conditions | None = None
    if section.alarms:
        standing = standing_alarms(journal, section.name)
        alarms = Conditions(section.name, clock, standing=standing, events_above=section.events_above)
    access, asking = access_of(section, config), _asking(section)
    return OpcUaSource(mapping, tags, access=access, asking=asking, alarms=alarms, clock=clock)


def _asking(section: OpcUaSection) -> Asking:
    """What is asked of a server for each tag."""
    from collector.opcua.items import Asking, Sampling

    own = {
        path: Sampling(
            section.sampling if tag.sampling is None else tag.sampling, tag.queue or section.queue or 0
        )
        for path, tag in section.tags.items()
        if tag.sampling is not None or tag.queue is not None
    }
    every = Sampling(section.sampling, section.queue or 0)
    return Asking(section.publishing, every, own, section.history)


def standing_alarms(journal: Journal | None, source: str) -> list[MachineAlarm]:
    """The own alarms of a source's machine that stood by the journal's last word."""
    last = [] if journal is None else journal.machine_alarms()
    return [MachineAlarm.from_json(entry.data["data"]) for entry in last if entry.rule == source]


def _mqtt_json(
    section: MqttJsonSection,
    mapping: SourceMapping,
    config: LineConfig,
    tags: Mapping[str, Tag],
    clock: Clock,
) -> Source:
    from collector.mqtt.json_source import MqttJsonSource

    broker = broker_of(
        section,
        config,
        session_s=section.session,
        window=section.window,
        largest_byte=section.largest,
    )
    shapes = [message.shape() for message in section.message]
    codes = {path: tag.codes for path, tag in section.tags.items() if tag.codes}
    return MqttJsonSource(mapping, tags, broker, shapes, codes=codes, clock=clock)


def _sparkplug(
    section: SparkplugSection,
    mapping: SourceMapping,
    config: LineConfig,
    tags: Mapping[str, Tag],
    clock: Clock,
) -> Source:
    from collector.mqtt.sparkplug_source import SparkplugSource

    return SparkplugSource(
        mapping,
        tags,
        broker_of(section, config, largest_byte=section.largest),
        group=section.group,
        host_id=section.host_id or f"meltledger-{config.facts.name}-{section.name}",
        texts=section.texts,
        reorder_s=section.reorder,
        clock=clock,
    )
