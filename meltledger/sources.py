"""Builds the collector's sources from a line's file: one function for each kind."""

from __future__ import annotations

from collections.abc import Mapping

from collector import Clock, Source, SourceMapping
from historian.errors import WrongInput
from historian.tags import Tag
from meltledger.config import LineConfig
from meltledger.linefile import MqttJsonSection, OpcUaSection, SourceSection, SparkplugSection


def source_mappings(config: LineConfig) -> list[SourceMapping]:
    """The line's sources as the collector takes them, in the order of the file."""
    units = {t.path: t.unit for t in config.tags}
    return [_mapping(section, units) for section in config.file.source]


def sources_of(config: LineConfig, tags: Mapping[str, Tag], clock: Clock) -> list[Source]:
    """The line's sources, ready to run, in the order of the file.

    Args:
        tags: as the store knows them, by path.
        clock: the edge's.

    Raises:
        WrongInput: one cannot work as the file says; naming the source.
    """
    made: list[Source] = []
    for section, mapping in zip(config.file.source, source_mappings(config), strict=True):
        match section:
            case OpcUaSection():
                made.append(_opcua(section, mapping, config, tags, clock))
            case MqttJsonSection():
                made.append(_mqtt_json(section, mapping, config, tags, clock))
            case SparkplugSection():
                made.append(_sparkplug(section, mapping, config, tags, clock))
    return made


def _mapping(section: SourceSection, units: Mapping[str, str]) -> SourceMapping:
    tags = tuple(tag.mapping(path, units[path]) for path, tag in section.delivers.items())
    return SourceMapping(section.name, section.where, section.simulated, tags, section.clock)


def _opcua(
    section: OpcUaSection, mapping: SourceMapping, config: LineConfig, tags: Mapping[str, Tag], clock: Clock
) -> Source:
    from collector.opcua.source import OpcUaSource
    from meltledger.access import access_of

    return OpcUaSource(mapping, tags, access=access_of(section, config), clock=clock)


def _mqtt_json(
    section: MqttJsonSection,
    mapping: SourceMapping,
    config: LineConfig,
    tags: Mapping[str, Tag],
    clock: Clock,
) -> Source:
    raise WrongInput(f"{config.path}: source {section.name}: kind mqtt-json is not built yet")


def _sparkplug(
    section: SparkplugSection,
    mapping: SourceMapping,
    config: LineConfig,
    tags: Mapping[str, Tag],
    clock: Clock,
) -> Source:
    raise WrongInput(f"{config.path}: source {section.name}: kind sparkplug is not built yet")
