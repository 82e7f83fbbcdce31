"""A secured server: who is let in, with which policy and password, and a certificate that changes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from asyncua import Client, ua
from asyncua.crypto import security_policies as policies
from cryptography import x509

from historian.errors import StoreReadOnly, WrongInput
from simulator.opcua.places import FlatSpace
from simulator.opcua.security import POLICIES, Security
from simulator.opcua.served import APPLICATION_URI, Features, ServedLine
from simulator.scenario import Scenario
from tests.support.served_line import certificate_of, node_of, served

MODES = {"sign": ua.MessageSecurityMode.Sign, "encrypt": ua.MessageSecurityMode.SignAndEncrypt}
KINDS = {
    "Basic256Sha256": policies.SecurityPolicyBasic256Sha256,
    "Aes128_Sha256_RsaOaep": policies.SecurityPolicyAes128Sha256RsaOaep,
    "Aes256_Sha256_RsaPss": policies.SecurityPolicyAes256Sha256RsaPss,
}
PATH = "filter.inlet.pressure.pv"


async def _client(
    endpoint: str, folder: Path, security: Security, kind: str, *, mode: str = "encrypt", trusted: bool = True
) -> Client:
    client = Client(endpoint, timeout=10)
    name = "known" if trusted else "stranger"
    await certificate_of(client, folder, name, security if trusted else None)
    await client.set_security(
        KINDS[kind], str(folder / f"{name}.der"), str(folder / f"{name}.pem"), mode=MODES[mode]
    )
    return client


async def _value(client: Client) -> Any:
    return await (await node_of(client, PATH)).read_value()


async def test_each_policy_and_mode_lets_a_trusted_client_in(trial_day: Scenario, tmp_path: Path) -> None:
    security = Security(tmp_path / "pki", users={"reader": "correct horse"}, anonymous=False)
    async with served(trial_day, start_s=60, security=security) as serving:
        for kind in KINDS:
            for mode in MODES:
                client = await _client(serving.endpoint, tmp_path, security, kind, mode=mode)
                client.set_user("reader")
                client.set_password("correct horse")
                async with client:
                    assert isinstance(await _value(client), float)
        async with Client(f"opc.tcp://reader:correct%20horse@{serving.endpoint[10:]}") as plain:
            assert isinstance(await _value(plain), float)


async def test_strangers_and_wrong_passwords_stay_out_until_trusted(
    trial_day: Scenario, tmp_path: Path
) -> None:
    security = Security(tmp_path / "pki", ("Basic256Sha256",), {"reader": "correct horse"})
    async with served(trial_day, start_s=60, security=security) as serving:
        with pytest.raises(ua.uaerrors.BadCertificateUntrusted):
            async with await _client(
                serving.endpoint, tmp_path, security, "Basic256Sha256", trusted=False
            ) as client:
                pass
        for user, password in [
            ("reader", "wrong"),
            ("reader", ""),
            ("nobody", "correct horse"),
            ("admin", "x"),
        ]:
            client = await _client(serving.endpoint, tmp_path, security, "Basic256Sha256")
            client.set_user(user)
            client.set_password(password)
            with pytest.raises(ua.uaerrors.BadUserAccessDenied):
                async with client:
                    pass
        async with await _client(serving.endpoint, tmp_path, security, "Basic256Sha256") as client:
            assert isinstance(await _value(client), float)
            with pytest.raises(ua.UaError):
                await (await node_of(client, PATH)).write_value(1.0)
        (security.trusted / "stranger.der").write_bytes((tmp_path / "stranger.der").read_bytes())
        async with await _client(
            serving.endpoint, tmp_path, security, "Basic256Sha256", trusted=False
        ) as client:
            assert isinstance(await _value(client), float)
        with pytest.raises(ua.UaError, match="No matching endpoints"):
            async with Client(serving.endpoint):
                pass


async def test_anonymous_clients_can_be_kept_out(trial_day: Scenario, tmp_path: Path) -> None:
    security = Security(tmp_path / "pki", ("None",), {"reader": "x"}, anonymous=False)
    async with served(trial_day, start_s=60, security=security) as serving:
        with pytest.raises(ua.uaerrors.BadIdentityTokenRejected):
            async with Client(serving.endpoint):
                pass


async def _shown(endpoint: str) -> set[bytes]:
    endpoints = await Client(endpoint).connect_and_get_server_endpoints()
    return {e.ServerCertificate for e in endpoints}


async def test_the_certificate_is_kept_and_can_be_changed_while_serving(
    trial_day: Scenario, tmp_path: Path
) -> None:
    security = Security(tmp_path / "pki")
    async with served(trial_day, start_s=60, security=security) as serving:
        first = security.certificate.read_bytes()
        assert await _shown(serving.endpoint) == {first}
        await serving.line.change_certificate()
        second = security.certificate.read_bytes()
        assert second != first
        assert await _shown(serving.endpoint) == {second}
        async with await _client(serving.endpoint, tmp_path, security, "Aes256_Sha256_RsaPss") as client:
            assert isinstance(await _value(client), float)
    async with served(trial_day, start_s=60, security=security) as serving:
        assert await _shown(serving.endpoint) == {second}
    names = x509.load_der_x509_certificate(second).extensions.get_extension_for_class(
        x509.SubjectAlternativeName
    )
    assert names.value.get_values_for_type(x509.UniformResourceIdentifier) == [APPLICATION_URI]
    assert security.key.stat().st_mode & 0o077 == 0


async def test_without_security_there_is_no_certificate_to_change() -> None:
    with pytest.raises(WrongInput, match="no certificate"):
        await ServedLine("opc.tcp://127.0.0.1:1", [], Features(FlatSpace())).change_certificate()


async def test_what_cannot_be_is_refused(trial_day: Scenario, tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="Basic128: name None, Basic256Sha256"):
        Security(tmp_path, ("Basic128",))
    with pytest.raises(WrongInput, match="nobody could log in"):
        Security(tmp_path, anonymous=False)
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreReadOnly, match="name another folder"):
        async with served(trial_day, security=Security(tmp_path / "file")):
            pass
    assert "password" not in repr(Security(tmp_path, users={"a": "password"}))
    assert set(POLICIES) == {"None", *KINDS}
