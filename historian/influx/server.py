"""The server, as the store speaks to it: lines in, InfluxQL out, and its refusals told apart."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import urllib3
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException

from historian.errors import MeltledgerError, OutsideWorldAway, WrongInput
from historian.influx.answers import Complaint, CutShort, Table, tables_in

TOO_LARGE: Final = 413
_FAULT_OF_THE_DATA: Final = (400, TOO_LARGE, 422)
_LONGEST_WAIT_S: Final = 300.0


@dataclass(frozen=True, slots=True)
class Place:
    """Where a line's samples are kept.

    Attributes:
        url: of the server, ``http://host:8086``.
        database: the database, or the bucket that InfluxQL knows under this name.
        line: name of the line; several lines can share a database.
        org: organisation (version 2); empty otherwise.
        token: token, or ``user:password``; empty where the server asks for none.
        timeout_s: for one request.
    """

    url: str
    database: str
    line: str
    org: str = ""
    token: str = ""
    timeout_s: float = 10.0

    def __post_init__(self) -> None:
        if not self.line or not self.line.isprintable() or "\\" in self.line:
            raise WrongInput(f"{self.line!r} cannot name a line in InfluxDB: use letters, digits and hyphens")

    def __repr__(self) -> str:
        # The token must not reach a log.
        return f"Place({self.url}, database {self.database}, line {self.line})"


class ServerAway(OutsideWorldAway):
    """The server does not answer, or asks to come back later.

    Attributes:
        wait_s: how long it asks to be left alone, seconds; 0 when it did not say.
    """

    def __init__(self, message: str, wait_s: float = 0.0) -> None:
        super().__init__(message)
        self.wait_s = wait_s


class Refused(MeltledgerError):
    """The server will never take these lines as they are.

    Attributes:
        status: of HTTP; ``TOO_LARGE`` when fewer at a time may pass.
    """

    def __init__(self, message: str, status: int) -> None:
        super().__init__(message)
        self.status = status


class Server:
    """One server and database; several threads may use it."""

    def __init__(self, place: Place) -> None:
        self.place = place
        client: Any = InfluxDBClient(
            url=place.url,
            token=place.token,
            org=place.org or "-",
            timeout=round(place.timeout_s * 1000),
            enable_gzip=True,
        )
        self._client = client
        self._write: Any = client.write_api(write_options=SYNCHRONOUS)
        self._api: Any = client.api_client

    def write(self, lines: Sequence[str]) -> None:
        """Hand lines over; on return the server has them.

        Raises:
            ServerAway: later again; part of them may have arrived.
            WrongInput: address, database or token are wrong.
            Refused: these lines will not be taken; others of the call may have been.
        """
        try:
            self._write.write(self.place.database, record="\n".join(lines).encode())
        except ApiException as error:
            if error.status in _FAULT_OF_THE_DATA:
                raise Refused(f"{self.place.url}: {_reason(error)}", error.status) from error
            raise self._told(error) from error
        except (urllib3.exceptions.HTTPError, OSError) as error:
            raise self._away(error) from error

    def ask(self, question: str) -> Iterator[Table]:
        """The series of the answer as they come; a long one is several tables.

        Raises:
            ServerAway: later again.
            WrongInput: address, database or token are wrong.
        """
        try:
            yield from tables_in(self._pieces(question))
        except ApiException as error:
            raise self._told(error) from error
        except (urllib3.exceptions.HTTPError, OSError) as error:
            raise self._away(error) from error
        except Complaint as error:
            raise WrongInput(
                f"{self.place.url}: {error}. Make the database {self.place.database} "
                "(version 2: a bucket and its mapping) or change the line's file"
            ) from error
        except CutShort as error:
            raise ServerAway(f"{self.place.url} broke off its answer") from error
        except ValueError as error:
            raise WrongInput(f"{self.place.url} does not answer like an InfluxDB: {error}") from error

    def _pieces(self, question: str) -> Iterator[Mapping[str, Any]]:
        """The JSON documents of the answer, one a line, read as they come: a window can be large."""
        answer = self._api.call_api(
            "/query",
            "GET",
            # In pieces, because a server can limit the rows of an answer in one, without saying so.
            query_params={"db": self.place.database, "epoch": "ns", "chunked": "true", "q": question},
            header_params={"Accept": "application/json", "Accept-Encoding": "gzip"},
            _preload_content=False,
            _return_http_data_only=True,
        )
        whole = False
        try:
            rest = b""
            for data in answer.stream(2**18, decode_content=True):
                *lines, rest = (rest + data).split(b"\n")
                yield from (json.loads(line) for line in lines if line.strip())
            if rest.strip():
                yield json.loads(rest)
            whole = True
        finally:
            # What was not read to its end cannot serve for the next question.
            (answer.release_conn if whole else answer.close)()

    def close(self) -> None:
        """Let go of the connections."""
        self._write.close()
        self._client.close()

    def _told(self, error: ApiException) -> MeltledgerError:
        """What a status that is no fault of the data means."""
        status = int(error.status or 0)
        if status == 0 or status in (408, 429) or status >= 500:
            return ServerAway(f"{self.place.url}: {_reason(error)}", _wait_s(error))
        return WrongInput(
            f"{self.place.url}: {_reason(error)}; check address, database {self.place.database} "
            "and token in the line's file"
        )

    def _away(self, error: Exception) -> ServerAway:
        return ServerAway(f"{self.place.url} does not answer ({type(error).__name__}); is it running?")


def _reason(error: ApiException) -> str:
    try:
        body = json.loads(error.body)
        words = str(body.get("error") or body.get("message") or "")
    except (ValueError, AttributeError, TypeError):
        words = ""
    return f"answer {error.status} {words or error.reason or ''}".strip()[:500]


def _wait_s(error: ApiException) -> float:
    try:
        return min(max(float(error.headers["Retry-After"]), 0.0), _LONGEST_WAIT_S)
    except (KeyError, TypeError, ValueError):
        return 0.0
