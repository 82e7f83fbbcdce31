"""How a real broker is come into: encrypted, with its certificate checked, with ours, with a password."""

from __future__ import annotations

import asyncio
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import trustme

from collector.errors import SourceAway, SourceRefused
from collector.mqtt.broker import Broker, address_of
from collector.mqtt.connection import Connection
from collector.secret import Secret
from historian.errors import WrongInput
from tests.support.mosquitto import Mosquitto

pytestmark = pytest.mark.broker


@dataclass
class Safe:
    """A broker that lets in who has a certificate, and a password on another port.

    Attributes:
        folder: of the certificates' files.
    """

    folder: Path
    port: int

    def broker(self, **access: object) -> Broker:
        given = {"ca": self.folder / "ca.pem", "certificate": self.folder / "we.pem", "key": self.folder / "we.key"}  # fmt: skip
        return Broker("127.0.0.1", self.port, "we", tls=True, **{**given, **access})  # type: ignore[arg-type]


def save(folder: Path, name: str, issued: trustme.LeafCert) -> None:
    issued.cert_chain_pems[0].write_to_path(folder / f"{name}.pem")
    issued.private_key_pem.write_to_path(folder / f"{name}.key")


@pytest.fixture(scope="module")
def safe(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Safe]:
    folder = tmp_path_factory.mktemp("certificates")
    authority, other = trustme.CA(), trustme.CA()
    authority.cert_pem.write_to_path(folder / "ca.pem")
    other.cert_pem.write_to_path(folder / "other.pem")
    save(folder, "broker", authority.issue_cert("127.0.0.1"))
    save(folder, "we", authority.issue_cert("we@line.example"))
    lines = [
        f"cafile {folder}/ca.pem",
        f"certfile {folder}/broker.pem",
        f"keyfile {folder}/broker.key",
        "require_certificate true",
    ]
    with Mosquitto(tmp_path_factory.mktemp("broker"), *lines) as mosquitto:
        yield Safe(folder, mosquitto.port)


async def refusal(broker: Broker) -> tuple[type[Exception], str]:
    with pytest.raises((SourceAway, SourceRefused)) as told:
        await Connection(broker, lambda _: None, [("a", 1)]).open()
    return told.type, str(told.value)


@pytest.mark.parametrize("version", ["5", "3.1.1"])
async def test_both_sides_show_a_certificate(safe: Safe, version: str) -> None:
    connection = Connection(safe.broker(version=version), lambda _: None, [("a", 1)])
    await connection.open()
    await connection.close()


async def test_a_certificate_of_an_unknown_authority_is_refused(safe: Safe) -> None:
    kind, text = await refusal(safe.broker(ca=safe.folder / "other.pem"))
    assert kind is SourceRefused and "certificate is not accepted" in text


async def test_a_certificate_for_another_host_is_refused(safe: Safe) -> None:
    kind, text = await refusal(Broker("localhost", safe.port, "we", tls=True, ca=safe.folder / "ca.pem"))
    assert kind is SourceRefused and "Hostname mismatch" in text


async def test_a_broker_that_wants_our_certificate_does_not_let_us_in_without(safe: Safe) -> None:
    assert f"mqtts://127.0.0.1:{safe.port}" in (await refusal(safe.broker(certificate=None, key=None)))[1]


@pytest.mark.parametrize(
    ("access", "said"),
    [({"ca": "missing.pem"}, "there is no file .*missing.pem"), ({"ca": "broker.key"}, "cannot be used"), ({"key": "broker.key"}, "must belong")],
)  # fmt: skip
async def test_files_that_cannot_be_used_are_named(safe: Safe, access: dict[str, str], said: str) -> None:
    files = {key: safe.folder / name for key, name in access.items()}
    with pytest.raises(SourceRefused, match=said):
        await Connection(safe.broker(**files), lambda _: None, [("a", 1)]).open()


async def test_the_right_password_lets_in_and_the_wrong_one_does_not(tmp_path: Path) -> None:
    passwords = tmp_path / "passwords"
    write = ["mosquitto_passwd", "-b", "-c", str(passwords), "reader", "of-lines"]
    await asyncio.to_thread(subprocess.run, write, check=True)
    (tmp_path / "password").write_text("of-lines\n")
    (tmp_path / "wrong").write_text("of-others\n")
    with Mosquitto(tmp_path / "broker", "allow_anonymous false", f"password_file {passwords}") as mosquitto:

        def broker(file: str) -> Broker:
            password = Secret(file=tmp_path / file)
            return Broker("127.0.0.1", mosquitto.port, "we", user="reader", password=password)

        connection = Connection(broker("password"), lambda _: None, [("a", 1)])
        await connection.open()
        await connection.close()
        kind, text = await refusal(broker("wrong"))
        assert kind is SourceRefused and "of-others" not in text


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("mqtt://plant.example", ("plant.example", 1883, False)),
        ("mqtts://plant.example", ("plant.example", 8883, True)),
        ("mqtt://10.0.0.1:1884/", ("10.0.0.1", 1884, False)),
        ("mqtts://[::1]:8884", ("::1", 8884, True)),
    ],
)
def test_an_address_is_read(text: str, address: tuple[str, int, bool]) -> None:
    assert address_of(text) == address


@pytest.mark.parametrize(
    "text", ["http://x", "mqtt://", "mqtt://x:99999", "mqtt://x/path", "mqtt://me:of-lines@x", "x"]
)
def test_what_is_no_address_is_refused_without_its_password(text: str) -> None:
    with pytest.raises(WrongInput) as told:
        address_of(text)
    assert "of-lines" not in str(told.value)
