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
from asyncua.ua.uaerrors import UaError

from collector.errors import SourceAway
from collector.opcua.times import ns_of

AT_ONCE = 1000
"""Nodes in one request; servers refuse more than their own limit, and this is a common one."""

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
    # Its remaining lines tell of requests on a socket that is closing; the link raises for each of them.
    logging.getLogger("asyncua.client.ua_client").setLevel(logging.CRITICAL)
    # "Requested session timeout to be …, got …": no user can act on it.
    logging.getLogger("asyncua.client.client").setLevel(logging.ERROR)


class Link:
    """An open session. Make it with ``opened``; it is done for once anything raised.

    Attributes:
        endpoint: where it leads.
        namespaces: the server's namespace URIs, in its order of now.
    """

    def __init__(self, client: Client, endpoint: str) -> None:
        self._client = client
        self.endpoint = endpoint
        self.namespaces: list[str] = []
        self._broken: asyncio.Future[str] = asyncio.get_running_loop().create_future()

    @classmethod
    @asynccontextmanager
    async def opened(cls, endpoint: str) -> AsyncIterator[Link]:
        """Connect, and disconnect at the end.

        Raises:
            SourceAway: the server does not answer, or the connection broke; naming the address.
        """
        quiet_library()
        # The library's own reconnect lets requests leak into its handshake and loses items whose node moved:
        # a fresh client for each connection has neither fault. Its probe is left out, see ``watch``.
        client = Client(endpoint, timeout=TIMEOUT_S, watchdog_intervall=86_400.0)
        link = cls(client, endpoint)
        client.connection_lost_callback = link._lost
        try:
            await link._ask(client.connect())
            link.namespaces = [str(uri) for uri in await link._ask(client.get_namespace_array())]
            yield link
        finally:
            await link._close()

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

    async def read(self, nodes: Sequence[ua.NodeId]) -> list[ua.DataValue]:
        """The value of each node, bad ones included.

        Raises:
            SourceAway: the connection broke.
        """
        if not nodes:
            return []
        session = self._client.uaclient.session
        return list(await self._ask(session.read_attributes(list(nodes), AttributeIds.Value)))

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
        if not paths:
            return []
        results = await self._ask(self._client.uaclient.session.translate_browsepaths_to_nodeids(paths))
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
        created: ua.CreateSubscriptionResult = await self._ask(
            session.create_subscription(parameters, callback)
        )
        return created

    async def monitor(
        self, subscription: int, items: Sequence[ua.MonitoredItemCreateRequest]
    ) -> list[ua.MonitoredItemCreateResult]:
        """Add items to a subscription, at most ``AT_ONCE``.

        Raises:
            SourceAway: the connection broke, or the server refuses all of them.
        """
        parameters = ua.CreateMonitoredItemsParameters(
            SubscriptionId=subscription,
            TimestampsToReturn=ua.TimestampsToReturn.Both,
            ItemsToCreate=list(items),
        )
        return list(await self._ask(self._client.uaclient.session.create_monitored_items(parameters)))

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
        (result,) = await self._ask(self._client.uaclient.session.call([request]))
        status: ua.StatusCode = result.StatusCode
        return status

    async def _ask(self, request: Any) -> Any:
        """A request's answer; every error of the library or the network becomes ours."""
        try:
            return await request
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
