"""One connection to one OPC UA server, from the handshake to its loss; no error of asyncua gets past it."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from typing import Any

import structlog
from asyncua import ua
from asyncua.client.client import Client
from asyncua.ua.attribute_ids import AttributeIds
from asyncua.ua.object_ids import ObjectIds
from asyncua.ua.uaerrors import UaError, UaStatusCodeError

from collector.clock import Clock, WallClock
from collector.errors import SourceAway
from collector.opcua.access import OPEN, Access
from collector.opcua.certificate import Certificate
from collector.opcua.handshake import GuardedClient, shake_hands
from collector.opcua.limits import Limits, in_groups, read_limits
from collector.opcua.publishing import hasten
from collector.opcua.times import ns_of
from historian.errors import MeltledgerError

TIMEOUT_S = 4.0
WATCH_S = 3.0

_SERVER_TIME = ua.NodeId(ua.Int32(ObjectIds.Server_ServerStatus_CurrentTime))
_HAS_PROPERTY = ua.NodeId(ua.Int32(ObjectIds.HasProperty))

_log = structlog.get_logger(__name__)


class _Noise(logging.Filter):
    """Leaves out what asyncua logs about a connection that is gone; the source says it in its own words."""

    _KNOWN = ("Publish iteration crashed", "close_session was called but", "close_session raised during")

    def filter(self, record: logging.LogRecord) -> bool:
        return not str(record.msg).startswith(self._KNOWN)


def quiet_library() -> None:
    """Let asyncua log warnings only, without those that every lost connection causes."""
    logging.getLogger("asyncua").setLevel(logging.WARNING)
    for name in ("asyncua.client.ua_session", "asyncua.client.ua_session.UaSession", "asyncua.client.client"):
        logger = logging.getLogger(name)
        if not any(isinstance(f, _Noise) for f in logger.filters):
            logger.addFilter(_Noise())
    # Its remaining lines tell of requests on a socket that is closing and of errors that a server sends; the
    # link raises for each of them.
    logging.getLogger("asyncua.client.ua_client").setLevel(logging.CRITICAL + 1)
    # "Requested session timeout to be …, got …": no user can act on it.
    logging.getLogger("asyncua.client.client").setLevel(logging.ERROR)


class Link:
    """An open session. Make it with ``opened``; it is done for once anything raised.

    Attributes:
        endpoint: where it leads.
        namespaces: the server's namespace URIs, in its order of now.
        papers: whose, and which certificate, of those that the connection rests on.
        limits: how much the server takes in one request; every request made here keeps to them by itself.
    """

    def __init__(self, client: Client, endpoint: str) -> None:
        self._client = client
        self.endpoint = endpoint
        self.namespaces: list[str] = []
        self.papers: tuple[tuple[str, Certificate], ...] = ()
        self.limits = Limits()
        self._broken: asyncio.Future[str] = asyncio.get_running_loop().create_future()

    @classmethod
    @asynccontextmanager
    async def opened(
        cls, endpoint: str, access: Access = OPEN, clock: Clock | None = None
    ) -> AsyncIterator[Link]:
        """Connect, and disconnect at the end.

        Args:
            endpoint: where to.
            access: how to get in.
            clock: the edge's, by which certificates are valid or not.

        Raises:
            SourceRefused: it does not let us in, or is not to be believed; telling the remedy.
            SourceAway: the server does not answer, or the connection broke; naming the address.
        """
        quiet_library()
        # The library's own reconnect lets requests leak into its handshake and loses items whose node moved:
        # a fresh client for each connection has neither fault. Its probe is left out, see ``watch``.
        client = GuardedClient(endpoint, timeout=TIMEOUT_S, watchdog_intervall=86_400.0)
        link = cls(client, endpoint)
        client.connection_lost_callback = link._lost
        try:
            link.papers = await link.ask(shake_hands(client, endpoint, access, clock or WallClock()))
            hasten(link.session)
            link.limits = await read_limits(link.read)
            link.namespaces = [str(uri) for uri in await link.ask(client.get_namespace_array())]
            yield link
        finally:
            await link._close()

    @property
    def session(self) -> Any:
        """The library's session, for services that are not here; its errors are not ours."""
        return self._client.uaclient.session

    async def watch(self, on_time: Callable[[int], None]) -> None:
        """Ask the server for its time again and again until the connection breaks.

        Args:
            on_time: gets each answer, UTC nanoseconds of the server's clock.

        Raises:
            SourceAway: with the reason; this is the only way out.
        """
        while True:
            try:
                async with asyncio.timeout(WATCH_S):
                    self._raise(await asyncio.shield(self._broken))
            except TimeoutError:
                on_time(await self.server_time_ns())

    def broke(self, why: str) -> None:
        """The connection is no good any more; ``watch`` raises."""
        if not self._broken.done():
            self._broken.set_result(why)

    async def server_time_ns(self) -> int:
        """The server's clock, UTC nanoseconds.

        Raises:
            SourceAway: no answer within ``WATCH_S``.
        """
        try:
            async with asyncio.timeout(WATCH_S):
                (answer,) = await self.read([_SERVER_TIME])
        except TimeoutError as error:
            raise SourceAway(f"{self.endpoint} did not answer within {WATCH_S:.0f} s") from error
        if answer.Value is None or answer.Value.Value is None:
            raise SourceAway(f"{self.endpoint} does not tell its time")
        return ns_of(answer.Value.Value)

    async def read(
        self, nodes: Sequence[ua.NodeId], attribute: AttributeIds = AttributeIds.Value
    ) -> list[ua.DataValue]:
        """An attribute of each node, by default its value, bad ones included.

        Raises:
            SourceAway: the connection broke.
        """
        found: list[ua.DataValue] = []
        for some in in_groups(nodes, self.limits.read):
            found.extend(await self.ask(self.session.read_attributes(list(some), attribute)))
        return found

    async def properties(self, nodes: Sequence[ua.NodeId], name: str) -> list[ua.NodeId | None]:
        """The node of a property of each node; None where there is none.

        Raises:
            SourceAway: the connection broke.
        """
        element = ua.RelativePathElement(
            ReferenceTypeId=_HAS_PROPERTY,
            IsInverse=False,  # type: ignore[arg-type]  # the library's Boolean is a name for bool
            IncludeSubtypes=True,  # type: ignore[arg-type]
            TargetName=ua.QualifiedName(name, 0),
        )
        paths = [
            ua.BrowsePath(StartingNode=n, RelativePath=ua.RelativePath(Elements=[element])) for n in nodes
        ]
        results: list[ua.BrowsePathResult] = []
        for some in in_groups(paths, self.limits.paths):
            results.extend(await self.ask(self.session.translate_browsepaths_to_nodeids(list(some))))
        return [
            ua.NodeId(t.TargetId.Identifier, t.TargetId.NamespaceIndex, t.TargetId.NodeIdType)
            if r.StatusCode.is_good() and r.Targets and (t := r.Targets[0])
            else None
            for r in results
        ]

    async def subscribe(
        self, parameters: ua.CreateSubscriptionParameters, callback: Callable[[ua.PublishResult], None]
    ) -> ua.CreateSubscriptionResult:
        """Create a subscription whose notifications go to the callback as they come.

        Raises:
            SourceAway: the connection broke, or the server refuses.
        """
        session = self._client.uaclient.session
        created: ua.CreateSubscriptionResult = await self.ask(
            session.create_subscription(parameters, callback)
        )
        return created

    async def monitor(
        self, subscription: int, items: Sequence[ua.MonitoredItemCreateRequest]
    ) -> list[ua.MonitoredItemCreateResult]:
        """Add items to a subscription.

        Raises:
            SourceAway: the connection broke, or the server refuses all of them.
        """
        results: list[ua.MonitoredItemCreateResult] = []
        for some in in_groups(items, self.limits.items):
            parameters = ua.CreateMonitoredItemsParameters(
                SubscriptionId=subscription,
                TimestampsToReturn=ua.TimestampsToReturn.Both,
                ItemsToCreate=list(some),
            )
            results.extend(await self.ask(self.session.create_monitored_items(parameters)))
        return results

    async def republish(self, subscription: int, sequence: int) -> ua.NotificationMessage | None:
        """A message that got lost, once more; None when the server does not have it any more.

        Raises:
            SourceAway: the connection broke.
        """
        try:
            message = await self.ask(self.session.republish(subscription, sequence))
        except SourceAway as error:
            if isinstance(error.__cause__, UaStatusCodeError):
                return None
            raise
        # Some servers answer with an empty message for one that they do not have.
        found: ua.NotificationMessage | None = message if message.SequenceNumber == sequence else None
        return found

    async def condition_refresh(self, subscription: int) -> ua.StatusCode:
        """Ask the server to tell once more what stands of its alarms; the only method that is ever called.

        Raises:
            SourceAway: the connection broke, or the server calls no methods at all.
        """
        request = ua.CallMethodRequest(
            ObjectId=ua.NodeId(ua.Int32(ObjectIds.ConditionType)),
            MethodId=ua.NodeId(ua.Int32(ObjectIds.ConditionType_ConditionRefresh)),
            InputArguments=[ua.Variant(subscription, ua.VariantType.UInt32)],
        )
        (result,) = await self.ask(self._client.uaclient.session.call([request]))
        status: ua.StatusCode = result.StatusCode
        return status

    async def ask(self, request: Any) -> Any:
        """A request's answer; every error of the library or the network becomes ours."""
        try:
            return await request
        except MeltledgerError:
            raise
        except TimeoutError as error:
            raise SourceAway(f"{self.endpoint} did not answer within {TIMEOUT_S:.0f} s") from error
        except (OSError, UaError) as error:
            raise SourceAway(f"{self.endpoint}: {_words(error)}") from error
        except Exception as error:
            # What else a damaged answer makes the library raise is not documented; it must not end the run.
            _log.exception("library_failed", endpoint=self.endpoint)
            raise SourceAway(f"{self.endpoint}: the answer could not be read ({error!r})") from error

    async def _lost(self, error: Exception) -> None:
        self.broke(f"the connection broke ({_words(error)})")

    def _raise(self, why: str) -> None:
        raise SourceAway(f"{self.endpoint}: {why}")

    async def _close(self) -> None:
        try:
            async with asyncio.timeout(2.0):
                await self._client.disconnect()
        except Exception as error:
            # A dead or frozen server cannot say goodbye; the socket is closed all the same.
            _log.debug("disconnect_failed", endpoint=self.endpoint, error=repr(error))
        finally:
            self._client.disconnect_socket()
        self._broken.cancel()


def _words(error: BaseException) -> str:
    if isinstance(error, ConnectionRefusedError):
        return "nothing listens there"
    text = str(error).strip()
    return text.splitlines()[0][:200] if text else type(error).__name__
