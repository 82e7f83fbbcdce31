"""Getting in at a real server: policies, logins, trust, and every way in which it goes wrong."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import AsyncIterator, Iterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import structlog
from asyncua import ua
from asyncua.ua.ua_binary import uatcp_to_binary
from cryptography.hazmat.primitives.serialization import Encoding

from collector import CertificateRefused, Clock, SourceAway, SourceRefused, WallClock
from collector.opcua import link as link_module
from collector.opcua.access import OPEN, Access
from collector.opcua.handshake import GuardedClient
from collector.opcua.identity import Anonymous, UserCertificate, UserName
from collector.opcua.link import Link
from collector.opcua.own import own_files
from collector.opcua.security import parse_security
from collector.opcua.trust import TrustFolder
from collector.secret import Secret
from simulator.opcua.served import APPLICATION_URI
from tests.collector.opcua.test_security import SECURED
from tests.support.certificates import Signed, called_back, key_of, signed
from tests.support.locked_line import LOGIN, Doors, LockedLine, accept_all, give_own, locked_line

USER, SECRET = LOGIN
POLICIES = ("Basic256Sha256", "Aes128_Sha256_RsaOaep", "Aes256_Sha256_RsaPss")
READER = UserName(USER, Secret("PLC_PASSWORD"))
MACHINE = signed(uri=APPLICATION_URI)
EDGE = signed("edge", uri="urn:test:edge")


@pytest.fixture(autouse=True)
def password(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLC_PASSWORD", SECRET)
    monkeypatch.setenv("WRONG_PASSWORD", "incorrect donkey")


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LockedLine]:
    """Nobody comes in without certificate and name."""
    with locked_line(tmp_path_factory.mktemp("line"), policies=POLICIES) as line:
        yield line


@pytest.fixture
def access(tmp_path: Path) -> Access:
    """A new one: nothing is trusted yet, on either side."""
    security = parse_security("Basic256Sha256/SignAndEncrypt")
    return Access(security, READER, tmp_path / "pki", "pilot-2", "meltledger trust line.toml")


@pytest.fixture
async def known(access: Access, line: LockedLine) -> Access:
    """Both sides trust each other, and the server shows what it showed first."""
    await line.show(MACHINE)
    give_own(access.folder, EDGE)
    line.trust(access)
    TrustFolder(access.folder).accept(MACHINE.facts, time.time_ns())
    return access


async def get_in(line: LockedLine | str, access: Access, clock: Clock | None = None) -> list[str]:
    """Whose certificates the connection rests on, once a value came through it."""
    endpoint = line if isinstance(line, str) else line.endpoint
    async with Link.opened(endpoint, access, clock) as link:
        assert await link.server_time_ns() > 0
        return [whose for whose, _ in link.papers]


async def refused(line: LockedLine | str, access: Access, clock: Clock | None = None) -> SourceRefused:
    with pytest.raises(SourceRefused) as caught:
        await get_in(line, access, clock)
    assert SECRET not in str(caught.value) + repr(caught.value)
    return caught.value


async def changed(line: LockedLine, access: Access, certificate: Signed) -> SourceRefused:
    await line.show(certificate)
    return await refused(line, access)


@pytest.mark.parametrize("security", SECURED)
async def test_each_policy_and_mode_gets_in_with_a_password(
    line: LockedLine, known: Access, security: str
) -> None:
    papers = await get_in(line, replace(known, security=parse_security(security)))
    assert papers == ["the server's certificate", "our own certificate"]


async def test_a_stranger_is_refused_on_both_sides_until_each_has_accepted_the_other(
    line: LockedLine, access: Access
) -> None:
    await line.show(MACHINE)
    error = await refused(line, access)
    thumbprint = MACHINE.facts.thumbprint
    for word in (thumbprint, "CN=machine", "valid from", f"`meltledger trust line.toml {thumbprint[:16]}`"):
        assert word in str(error)
    assert isinstance(error, CertificateRefused)
    (kept,) = TrustFolder(access.folder).waiting()
    assert kept.certificate == MACHINE.facts and kept.server is not None
    assert (kept.server.endpoint, kept.server.application) == (line.endpoint, APPLICATION_URI)
    assert not own_files(access.folder)[0].exists(), "nothing was told to it"
    accept_all(access.folder)
    error = await refused(line, access)
    assert (
        f"does not accept our own certificate (BadCertificateUntrusted). Remedy: accept {own_files(access.folder)[0]}"
        in str(error)
    )
    line.trust(access)
    assert len(await get_in(line, access)) == 2


async def test_an_empty_trust_folder_means_nobody(line: LockedLine, known: Access) -> None:
    TrustFolder(known.folder).forget(MACHINE.facts)
    assert "nobody has accepted it" in str(await refused(line, known))


async def test_a_server_whose_certificate_changed_is_told_with_both(line: LockedLine, known: Access) -> None:
    await get_in(line, known)
    await line.renew()
    error = await refused(line, known)
    (kept,) = TrustFolder(known.folder).waiting()
    assert "CHANGED" in str(error) and "somebody is between" in str(error)
    assert MACHINE.facts.thumbprint in str(error) and kept.certificate.thumbprint in str(error)
    accept_all(known.folder)
    assert len(await get_in(line, known)) == 2


async def test_a_change_is_known_also_where_the_accepted_one_names_nobody(
    line: LockedLine, known: Access
) -> None:
    bare = signed(uri=None)
    TrustFolder(known.folder).forget(MACHINE.facts)
    TrustFolder(known.folder).accept(bare.facts, time.time_ns())
    await line.show(bare)
    assert len(await get_in(line, known)) == 2, "no key usage, no names: accepted itself, it is believed"
    assert "CHANGED" in str(await changed(line, known, signed(uri=None, key=key_of("fresh"))))


@pytest.mark.parametrize(
    ("shown", "said"),
    [
        (signed(uri=APPLICATION_URI, key=key_of("weak", 1024)), "a key of 1024 bits"),
        (signed(uri=APPLICATION_URI, to_day=-0.1), "it expired on 20"),
        (signed(uri=APPLICATION_URI, from_day=2), "it is not valid before 20"),
        (signed(uri="urn:somebody:else"), "names the application urn:somebody:else"),
    ],
    ids=["weak", "expired", "not yet", "another name"],
)
async def test_what_is_unfit_is_refused_although_it_lies_in_the_folder(
    line: LockedLine, known: Access, shown: Signed, said: str
) -> None:
    (known.folder / "trusted" / "by-hand.der").write_bytes(shown.der)
    assert said in str(await changed(line, known, shown))
    assert TrustFolder(known.folder).waiting() == [], "accepting would not help"


async def test_an_authority_vouches_for_servers_until_it_calls_them_back(
    line: LockedLine, known: Access
) -> None:
    root = signed("authority", uri=None, authority=True)
    issued = signed(issuer=root, uri=APPLICATION_URI)
    (known.folder / "trusted" / f"{MACHINE.facts.thumbprint}.der").unlink()
    (known.folder / "trusted" / "authority.pem").write_bytes(root.pem)
    await line.show(issued)
    assert len(await get_in(line, known)) == 2
    assert TrustFolder(known.folder).waiting() == []
    (known.folder / "revoked").mkdir()
    crl = called_back(root, issued).public_bytes(Encoding.DER)
    (known.folder / "revoked" / "authority.crl").write_bytes(crl)
    assert "its authority has called back" in str(await refused(line, known))
    (known.folder / "revoked" / "authority.crl").write_bytes(b"torn")
    assert "authority.crl" in str(await refused(line, known))


async def test_a_wrong_password_is_told_and_is_a_refusal(
    line: LockedLine, known: Access, caplog: pytest.LogCaptureFixture
) -> None:
    wrong = replace(known, identity=UserName(USER, Secret("WRONG_PASSWORD")))
    with caplog.at_level(logging.DEBUG), structlog.testing.capture_logs() as logs:
        error = await refused(line, wrong)
    assert f"lets nobody in as user '{USER}' (BadUserAccessDenied)" in str(error)
    assert "locked out" in str(error) and not isinstance(error, CertificateRefused)
    for told in (str(error), repr(wrong), caplog.text, repr(logs)):
        assert "incorrect donkey" not in told


async def test_a_password_that_is_not_there_is_told_before_the_server_is_asked(
    line: LockedLine, known: Access
) -> None:
    missing = replace(known, identity=UserName(USER, Secret(file=known.folder / "none")))
    assert "none: the password cannot be read" in str(await refused(line, missing))


async def test_nobody_comes_in_without_a_name(line: LockedLine, known: Access) -> None:
    error = await refused(line, replace(known, identity=Anonymous()))
    assert "lets nobody in without a user name" in str(error) and "add user and password_env" in str(error)


@pytest.mark.parametrize("identity", [Anonymous(), READER], ids=["nobody", "a user"])
async def test_a_server_without_an_unsecured_endpoint_says_what_it_offers(
    line: LockedLine, known: Access, identity: Any
) -> None:
    error = await refused(line, replace(known, security=parse_security("None"), identity=identity))
    assert 'does not offer security = "None"' in str(error)
    assert "Basic256Sha256/SignAndEncrypt, Basic256Sha256/Sign, Aes128" in str(error)


@pytest.mark.parametrize("security", ["Basic256Sha256/Sign", "Aes256_Sha256_RsaPss/SignAndEncrypt"])
async def test_a_user_certificate_gets_in_where_it_is_known(
    line: LockedLine, known: Access, tmp_path: Path, security: str
) -> None:
    users = [signed("reader", uri=None), signed("stranger", uri=None)]
    first, second = (
        replace(known, security=parse_security(security), identity=UserCertificate(*u.save(tmp_path, n)))
        for u, n in zip(users, ("reader", "stranger"), strict=True)
    )
    assert "takes no user certificates; it takes user names" in str(await refused(line, first))
    server = line.served.line.server
    tokens, doors = list(server.iserver.supported_tokens), server.iserver.user_manager
    await line.let_in([*tokens, ua.X509IdentityToken], Doors(users[0]))
    try:
        assert "the user certificate" in await get_in(line, first)
        error = await refused(line, second)
        assert "stranger.der" in str(error) and "accept that certificate as a user's" in str(error)
    finally:
        await line.let_in(tokens, doors)


async def test_our_own_certificate_out_of_its_time_is_told_before_anything_is_sent(
    line: LockedLine, known: Access
) -> None:
    old = signed("edge", uri="urn:edge", to_day=-0.1)
    give_own(known.folder, old)
    error = await refused(line, known)
    assert "our own certificate is valid from" in str(error) and "another pair is then made" in str(error)


async def test_a_clock_that_went_wrong_is_named(line: LockedLine, known: Access) -> None:
    class Reset(WallClock):
        def now_ns(self) -> int:
            return 86_400_000_000_000

    error = await refused(line, known, Reset())
    assert "this computer's clock says 1970-01-02; when the clock is right" in str(error)


async def test_a_certificate_that_changes_between_question_and_session_is_a_silence_and_tried_again(
    line: LockedLine, known: Access, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server cannot read what was encrypted for its old certificate, and says nothing: no TimeoutError."""
    ask = GuardedClient.connect_and_get_server_endpoints

    async def before(self: GuardedClient) -> Sequence[ua.EndpointDescription]:
        endpoints = await ask(self)
        monkeypatch.setattr(GuardedClient, "connect_and_get_server_endpoints", ask)
        await line.renew()
        return list(endpoints)

    monkeypatch.setattr(GuardedClient, "connect_and_get_server_endpoints", before)
    monkeypatch.setattr(link_module, "TIMEOUT_S", 0.5)
    with pytest.raises(SourceAway, match="broke off when the secured connection was to be made"):
        await get_in(line, known)
    assert "CHANGED" in str(await refused(line, known))


async def test_what_an_attacker_writes_into_the_first_answer_does_not_count(
    line: LockedLine, known: Access, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The answer to the question for endpoints is not signed; the session's is, and it is judged again."""
    await line.show(other := signed(uri="urn:somebody:else"))
    (known.folder / "trusted" / "other.der").write_bytes(other.der)
    ask = GuardedClient.connect_and_get_server_endpoints

    async def forged(self: GuardedClient) -> Sequence[ua.EndpointDescription]:
        endpoints = list(await ask(self))
        for endpoint in endpoints:
            endpoint.Server.ApplicationUri = "urn:somebody:else"
        return endpoints

    monkeypatch.setattr(GuardedClient, "connect_and_get_server_endpoints", forged)
    assert "names the application urn:somebody:else" in str(await refused(line, known))


def policy(kind: ua.UserTokenType, uri: str = "") -> ua.UserTokenPolicy:
    return ua.UserTokenPolicy(PolicyId=uri, TokenType=kind, SecurityPolicyUri=uri or None)


NONE, GOOD, OLD = (
    f"http://opcfoundation.org/UA/SecurityPolicy#{name}"
    for name in ("None", "Basic256Sha256", "Basic128Rsa15")
)
NAME = ua.UserTokenType.UserName


@pytest.mark.parametrize(
    ("security", "offered", "taken"),
    [
        ("Basic256Sha256/Sign", [NONE], None),
        ("Basic256Sha256/Sign", [OLD], None),
        ("Basic256Sha256/Sign", [""], GOOD),
        ("Basic256Sha256/Sign", [NONE, GOOD], GOOD),
        ("Basic256Sha256/SignAndEncrypt", [NONE], NONE),
        ("None", [NONE], None),
        ("None", [""], None),
        ("None", [NONE, GOOD], GOOD),
    ],
)
async def test_a_password_goes_only_where_nobody_can_read_along(
    security: str, offered: list[str], taken: str | None
) -> None:
    client = GuardedClient("opc.tcp://10.0.0.1:4840")
    chosen = parse_security(security)
    if chosen.is_secured:
        client.security_policy = chosen.library_policy(
            MACHINE.x509, MACHINE.x509, MACHINE.key, chosen.library_mode
        )
    else:
        client.security_policy.peer_certificate = MACHINE.der
    client._policy_ids = [policy(NAME, uri) for uri in offered]
    if taken is None:
        with pytest.raises(SourceRefused, match="it is not sent"):
            client.server_policy(NAME)
    else:
        assert client.server_policy(NAME).SecurityPolicyUri == taken


async def test_without_a_certificate_of_the_server_no_password_can_be_kept_secret() -> None:
    client = GuardedClient("opc.tcp://10.0.0.1:4840")
    client._policy_ids = [policy(NAME, GOOD)]
    with pytest.raises(SourceRefused, match="it is not sent"):
        client.server_policy(NAME)


@asynccontextmanager
async def port(answers: Sequence[bytes | None]) -> AsyncIterator[str]:
    """Something that is no OPC UA server: gives one answer to each message, and closes the line at None."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for answer in answers:
            if not await reader.read(65_536) or answer is None:
                break
            writer.write(answer)
        else:
            await reader.read()
        writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    try:
        yield f"opc.tcp://127.0.0.1:{server.sockets[0].getsockname()[1]}"
    finally:
        server.close()


ACK = uatcp_to_binary(ua.MessageType.Acknowledge, ua.Acknowledge(0, 65_536, 65_536, 0, 0))


def said(status: str) -> bytes:
    return bytes(
        uatcp_to_binary(
            ua.MessageType.Error, ua.ErrorMessage(ua.StatusCode(getattr(ua.StatusCodes, status)), "no")
        )
    )


async def test_a_server_that_says_no_before_there_is_a_channel_is_understood() -> None:
    async with port([ACK, said("BadSecurityPolicyRejected")]) as endpoint:
        assert "does not accept this security" in str(await refused(endpoint, OPEN))
    async with port([ACK, said("BadSecurityChecksFailed")]) as endpoint:
        assert "does not accept our own certificate" in str(await refused(endpoint, OPEN))


@pytest.mark.parametrize("answers", [[None], [ACK, None], [b"HTTP/1.1 400 Bad Request\r\n\r\n", None]])
async def test_something_else_that_listens_there_is_away(
    answers: list[bytes | None], access: Access, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(link_module, "TIMEOUT_S", 0.5)
    async with port(answers) as endpoint:
        for way in (OPEN, access):
            with pytest.raises(SourceAway) as caught:
                await get_in(endpoint, way)
            assert endpoint in str(caught.value)


async def test_a_right_that_is_missing_later_is_no_wrong_password(line: LockedLine, known: Access) -> None:
    """BadUserAccessDenied of a request looks like a refused login; only the handshake's is one."""

    async def denied() -> None:
        raise ua.uaerrors.BadUserAccessDenied

    async with Link.opened(line.endpoint, known) as link:
        with pytest.raises(SourceAway, match=r"BadUserAccessDenied|permission"):
            await link.ask(denied())


async def test_a_wait_ends_early_only_when_somebody_put_the_certificates_right(
    access: Access, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.opcua.access.LOOK_S", 0.01)
    folder = TrustFolder(access.folder)
    waits = asyncio.create_task(access.again(CertificateRefused("", folder.stamp()), 60.0))
    await asyncio.sleep(0.05)
    assert not waits.done()
    folder.accept(MACHINE.facts, time.time_ns())
    await asyncio.wait_for(waits, 20.0)
    login = asyncio.create_task(access.again(SourceRefused("wrong password"), 60.0))
    folder.forget(MACHINE.facts)
    await asyncio.sleep(0.2)
    assert not login.done()
    login.cancel()
    await asyncio.gather(login, return_exceptions=True)
