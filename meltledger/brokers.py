"""How a line's MQTT sources get in, as the collector takes it, and what a person should know of it."""

from __future__ import annotations

import re

from collector.errors import SourceRefused
from collector.mqtt.broker import Broker, address_of
from collector.secret import Secret
from historian.errors import WrongInput
from meltledger.config import LineConfig
from meltledger.linefile import MqttJsonSection, SparkplugSection


def broker_of(
    section: MqttJsonSection | SparkplugSection,
    config: LineConfig,
    *,
    session_s: float = 0.0,
    window: int = 20,
    largest_byte: int = 1_048_576,
) -> Broker:
    """The broker of one source."""
    base = config.path.parent
    host, port, tls = address_of(section.broker)
    made = re.sub(r"[^0-9A-Za-z_.-]", "-", f"meltledger-{config.facts.name}-{section.name}")
    file = None if section.password_file is None else base / section.password_file
    secret = Secret(section.password_env, file) if section.password_env or file else None
    return Broker(
        host,
        port,
        section.client_id or made[:64],
        tls=tls,
        ca=None if section.ca is None else base / section.ca,
        certificate=None if section.certificate is None else base / section.certificate,
        key=None if section.key is None else base / section.key,
        user=section.user,
        password=secret,
        version=section.protocol,
        keepalive_s=int(section.keepalive),
        session_s=int(session_s),
        window=window,
        largest_byte=largest_byte,
    )


def broker_notes(config: LineConfig) -> list[str]:
    """What is no fault of the line's file but will keep a source out, or lose samples."""
    notes = []
    for section in config.file.source:
        if not isinstance(section, MqttJsonSection | SparkplugSection):
            continue
        broker = broker_of(section, config)
        try:
            if broker.password is not None:
                broker.password.read()
            if broker.tls:
                broker.tls_context()
        except (SourceRefused, WrongInput) as error:
            notes.append(f"source {section.name}: {error}")
        if isinstance(section, MqttJsonSection):
            notes.append(
                f"source {section.name}: the broker keeps what it cannot deliver only if it is told to: "
                f"max_inflight_messages {section.window}, max_queued_messages large enough for the longest "
                "outage, persistence true; see docs/mqtt.md"
            )
            if any(message.qos == 0 for message in section.message):
                notes.append(f"source {section.name}: what is read with qos = 0 is lost while we are away")
    return notes
