"""A secured server: who is let in, with which policy and password, and a certificate that changes."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from asyncua import Client, ua
from asyncua.crypto import security_policies as policies
from asyncua.server.server import Server
from cryptography import x509

from historian.errors import StoreReadOnly, WrongInput
from simulator.opcua.places import FlatSpace
from simulator.opcua.security import POLICIES, Security, arm
from simulator.opcua.served import APPLICATION_URI, Features, ServedLine
from simulator.serving.trouble import Trouble
from tests.support.served_line import Elsewhere, certificate_of, node_of, served_elsewhere
from tests.support.small_line import SmallLine

MODES = {"sign": ua.MessageSecurityMode.Sign, "encrypt": ua.MessageSecurityMode.SignAndEncrypt}
KINDS = {
    "Basic256Sha256": policies.SecurityPolicyBasic256Sha256,
    "Aes128_Sha256_RsaOaep": policies.SecurityPolicyAes128Sha256RsaOaep,
    "Aes256_Sha256_RsaPss": policies.SecurityPolicyAes256Sha256RsaPss,
}
PATH = "filter.inlet.pressure.pv"


LOGIN = ("reader", "correct horse")


@dataclass(frozen=True, slots=True)
class Locked:
    """A line that lets nobody in without certificate and name."""

    served: Elsewhere
    security: Security
    folder: Path

    @property
    def endpoint(self) -> str:
        return self.served.serving.endpoint


@pytest.fixture(scope="module")
def locked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Locked]:
    folder = tmp_path_factory.mktemp("locked")
    security = Security(folder / "pki", tuple(KINDS), dict([LOGIN]), anonymous=False)
    with served_elsewhere(SmallLine(), security=security) as served_line:
        yield Locked(served_line, security, folder)


async def _client(
    locked: Locked,
    kind: str = "Basic256Sha256",
    *,
    mode: str = "encrypt",
    name: str = "known",
    login: tuple[str, str] | None = LOGIN,
) -> Client:
    """A client with a certificate of its own; only "known" is trusted by the server."""
    client = Client(locked.endpoint, timeout=10)
    client.application_uri = f"urn:test:{name}"
    key, own = locked.folder / f"{name}.pem", locked.folder / f"{name}.der"
    if not own.exists():
        await certificate_of(client, locked.folder, name, locked.security if name == "known" else None)
    await client.set_security(KINDS[kind], str(own), str(key), mode=MODES[mode])
    if login is not None:
        client.set_user(login[0])
        client.set_password(login[1])
    return client


async def _value(client: Client) -> Any:
    return await (await node_of(client, PATH)).read_value()


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("kind", KINDS)
async def test_each_policy_and_mode_lets_a_trusted_client_in(locked: Locked, kind: str, mode: str) -> None:
    async with await _client(locked, kind, mode=mode) as client:
        assert isinstance(await _value(client), float)


@pytest.mark.parametrize(
    "login",
    [("reader", "wrong"), ("reader", ""), ("nobody", "correct horse"), ("admin", "x")],
    ids=["wrong password", "no password", "unknown", "a usual name"],
)
async def test_a_wrong_login_is_refused(locked: Locked, login: tuple[str, str]) -> None:
    client = await _client(locked, login=login)
    with pytest.raises(ua.uaerrors.BadUserAccessDenied):
        async with client:
            pass


async def test_nobody_comes_in_without_a_name(locked: Locked) -> None:
    with pytest.raises(ua.uaerrors.BadIdentityTokenRejected):
        async with await _client(locked, login=None):
            pass


async def test_nobody_comes_in_without_security(locked: Locked) -> None:
    with pytest.raises(ua.UaError, match="No matching endpoints"):
        async with Client(locked.endpoint):
            pass


async def test_nobody_may_write(locked: Locked) -> None:
    async with await _client(locked) as client:
        with pytest.raises(ua.UaError):
            await (await node_of(client, PATH)).write_value(1.0)


async def test_a_stranger_stays_out_until_trusted(locked: Locked) -> None:
    with pytest.raises(ua.uaerrors.BadCertificateUntrusted):
        async with await _client(locked, name="stranger"):
            pass
    shutil.copy(locked.folder / "stranger.der", locked.security.trusted)
    async with await _client(locked, name="stranger") as client:
        assert isinstance(await _value(client), float)


async def _shown(endpoint: str) -> set[bytes]:
    endpoints = await Client(endpoint).connect_and_get_server_endpoints()
    return {e.ServerCertificate for e in endpoints}


async def test_the_certificate_can_be_changed_while_serving_and_outlives_a_restart(locked: Locked) -> None:
    first = locked.security.certificate.read_bytes()
    assert await _shown(locked.endpoint) == {first}
    await locked.served.do(locked.served.line.make(Trouble(0.0, "new certificate")))
    second = locked.security.certificate.read_bytes()
    assert second != first
    assert await _shown(locked.endpoint) == {second}
    async with await _client(locked, "Aes256_Sha256_RsaPss") as client:
        assert isinstance(await _value(client), float)
    await locked.served.do(locked.served.line.make(Trouble(0.0, "restart")))
    assert await _shown(locked.endpoint) == {second}
    names = x509.load_der_x509_certificate(second).extensions.get_extension_for_class(
        x509.SubjectAlternativeName
    )
    assert names.value.get_values_for_type(x509.UniformResourceIdentifier) == [APPLICATION_URI]
    assert locked.security.key.stat().st_mode & 0o077 == 0


async def test_without_security_there_is_no_certificate_to_change() -> None:
    with pytest.raises(WrongInput, match="no certificate"):
        await ServedLine("opc.tcp://127.0.0.1:1", [], Features(FlatSpace())).change_certificate()


async def test_what_cannot_be_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="Basic128: name None, Basic256Sha256"):
        Security(tmp_path, ("Basic128",))
    with pytest.raises(WrongInput, match="nobody could log in"):
        Security(tmp_path, anonymous=False)
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreReadOnly, match="name another folder"):
        await arm(Server(), Security(tmp_path / "file"))
    assert "password" not in repr(Security(tmp_path, users={"a": "password"}))
    assert set(POLICIES) == {"None", *KINDS}
