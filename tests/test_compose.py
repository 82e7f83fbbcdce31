"""docker-compose.yml, its images and what it mounts: all that can be checked without a container engine."""

from __future__ import annotations

import json
import re
import shutil
import socket
import subprocess
import time
from pathlib import Path
from typing import Any

import click
import jsonschema
import pytest
import yaml

import meltledger
from meltledger.cli import root
from meltledger.config import load

ROOT = Path(__file__).resolve().parents[1]
COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
OURS = ("edge", "dashboard")


def mounts(service: str) -> list[tuple[str, str]]:
    """Source and target of each volume of a service."""
    pairs = [entry.split(":") for entry in SERVICES[service]["volumes"]]
    return [(pair[0], pair[1]) for pair in pairs]


def arguments(service: str) -> list[str]:
    """The command of one of our services; the image's entry point is ``meltledger``."""
    return list(SERVICES[service]["command"])


def test_it_is_what_the_compose_specification_allows() -> None:
    schema = json.loads((ROOT / "tests" / "checks" / "compose-spec.json").read_text(encoding="utf-8"))
    validator = jsonschema.validators.validator_for(schema)(schema)
    assert [error.message for error in validator.iter_errors(COMPOSE)] == []
    wrong = {**COMPOSE, "services": {"edge": {"imagee": "x"}}}
    assert list(validator.iter_errors(wrong)), "the schema lets a misspelt key through"


def test_the_services_are_the_documented_ones() -> None:
    assert set(SERVICES) == {"edge", "dashboard", "broker", "influxdb"}


@pytest.mark.parametrize("service", sorted(SERVICES))
def test_every_service_is_healthy_restarted_and_not_root(service: str) -> None:
    settings = SERVICES[service]
    assert settings.get("image") or settings.get("build")
    assert settings["healthcheck"]["test"][0] == "CMD"
    assert settings["restart"] == "unless-stopped"
    assert not str(settings["user"]).startswith(("0", "root"))


@pytest.mark.parametrize("service", OURS)
def test_our_services_run_verbs_that_the_command_line_has(service: str) -> None:
    assert isinstance(root, click.Group)
    verb, *rest = arguments(service)
    context = click.Context(root)
    command = root.get_command(context, verb)
    assert command is not None, f"meltledger has no verb '{verb}'"
    known = {option for p in command.params for option in p.opts}
    assert {word for word in rest if word.startswith("--")} <= known


@pytest.mark.parametrize("service", sorted(SERVICES))
def test_what_is_mounted_exists_or_is_a_named_volume(service: str) -> None:
    for source, _ in mounts(service):
        if source.startswith("."):
            assert (ROOT / source).is_file(), f"{service} mounts {source}, which is not there"
        else:
            assert source in COMPOSE["volumes"]


def test_dependencies_are_services_that_say_when_they_are_healthy() -> None:
    for settings in SERVICES.values():
        for needed, how in settings.get("depends_on", {}).items():
            assert "healthcheck" in SERVICES[needed]
            assert how == {"condition": "service_healthy"}


def test_ports_are_published_once_and_on_this_host_only() -> None:
    published = [port for s in SERVICES.values() for port in s.get("ports", [])]
    assert published == ["127.0.0.1:${PORT:-8050}:8050"]


def test_secrets_come_from_the_environment_and_the_example_names_them_all() -> None:
    text = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")
    required = set(re.findall(r"\$\{(\w+):\?", text))
    example = (ROOT / "deploy" / "env.example").read_text(encoding="utf-8")
    assert required == set(re.findall(r"^(\w+)=$", example, flags=re.MULTILINE))
    for name, value in SERVICES["influxdb"]["environment"].items():
        if "PASSWORD" in name or "TOKEN" in name:
            assert value.startswith("${")


def test_the_line_of_the_compose_file_is_a_good_one_and_lies_where_the_services_look(tmp_path: Path) -> None:
    line = load(ROOT / "deploy" / "line.toml")
    for service in OURS:
        assert ("./deploy/line.toml", arguments(service)[1]) in mounts(service)
        assert str(line.folder) in [target for _, target in mounts(service)]
    assert not line.simulated
    assert SERVICES["edge"]["healthcheck"]["test"][-1] == str(line.journal)


def test_the_store_that_the_page_about_influxdb_shows_is_the_one_that_compose_brings(tmp_path: Path) -> None:
    page = (ROOT / "docs" / "influxdb.md").read_text(encoding="utf-8")
    (shown,) = re.findall(r"```toml\n(.+?)```", page, flags=re.DOTALL)
    line = (ROOT / "deploy" / "line.toml").read_text(encoding="utf-8")
    within = re.compile(r"^\[store\]\n.*?\n(?=\n)", flags=re.MULTILINE | re.DOTALL)
    commented = re.findall(r"^# (\w+ = .+)$", within.findall(line)[0], flags=re.MULTILINE)
    for section in (shown, "\n".join(["[store]", 'path = "/var/lib/meltledger"', *commented, ""])):
        (tmp_path / "line.toml").write_text(line.replace(within.findall(line)[0], section), encoding="utf-8")
        store = load(tmp_path / "line.toml").file.store
        given = SERVICES["influxdb"]["environment"]
        assert store.kind == "influxdb"
        assert store.url == "http://influxdb:8086"
        assert store.database == given["DOCKER_INFLUXDB_INIT_BUCKET"]
        assert store.org == given["DOCKER_INFLUXDB_INIT_ORG"]
        for service in OURS:
            environment = SERVICES[service]["environment"]
            assert environment[store.token_env] == given["DOCKER_INFLUXDB_INIT_ADMIN_TOKEN"]


def test_the_image_is_built_from_here_without_root_and_carries_this_version() -> None:
    text = (ROOT / "Dockerfile").read_text(encoding="utf-8")
    last_stage = text.rpartition("\nFROM ")[2]
    assert re.search(r"^USER 10001$", last_stage, flags=re.MULTILINE)
    for service in OURS:
        assert SERVICES[service]["image"] == f"meltledger:{meltledger.__version__}"
        assert SERVICES[service]["user"] == "10001"
    for source in re.findall(r"^COPY (?!--from)(.+) \S+$", text, flags=re.MULTILINE):
        for name in source.split():
            assert (ROOT / name).exists(), f"the Dockerfile copies {name}, which is not there"


def test_the_image_gets_every_package_and_the_build_context_lets_them_in() -> None:
    copied = set(
        re.findall(r"^COPY (\w+) \w+$", (ROOT / "Dockerfile").read_text("utf-8"), flags=re.MULTILINE)
    )
    packages = {p.parent.name for p in ROOT.glob("*/py.typed")}
    assert copied == packages | {"requirements"}
    allowed = set(re.findall(r"^!(.+)$", (ROOT / ".dockerignore").read_text("utf-8"), flags=re.MULTILINE))
    assert copied <= allowed


@pytest.mark.broker
def test_the_brokers_configuration_starts_a_real_broker(tmp_path: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    text = (ROOT / "deploy" / "mosquitto.conf").read_text(encoding="utf-8")
    here = text.replace("listener 1883", f"listener {port} 127.0.0.1").replace(
        "/mosquitto/data/", f"{tmp_path}/"
    )
    assert here.count(str(port)) == 1 and here.count(str(tmp_path)) == 1
    (tmp_path / "mosquitto.conf").write_text(here, encoding="utf-8")
    program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
    broker = subprocess.Popen([program, "-c", str(tmp_path / "mosquitto.conf")], stdout=subprocess.DEVNULL)
    try:
        assert _answers(port), "the broker does not listen"
    finally:
        broker.terminate()
        broker.wait(timeout=10)


def _answers(port: int) -> bool:
    for _ in range(100):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.05)
        else:
            return True
    return False
