"""A connection's socket that reads ahead: one system call for many small reads."""

from __future__ import annotations

from typing import Any, Final

AHEAD_BYTE: Final = 65_536


class ReadsAhead:
    """A socket as the MQTT library takes it; the library reads a message in four small pieces.

    Whoever waits for the socket must look at ``pending`` first: what lies here does not make it readable.

    Args:
        sock: connected, plain or TLS.
    """

    def __init__(self, sock: Any) -> None:
        self._sock = sock
        self._store = memoryview(bytearray(AHEAD_BYTE))
        self._at = self._end = 0

    def recv(self, size_byte: int) -> bytes:
        """At most so many bytes; none when the other side has closed.

        Raises:
            OSError: as the socket does, with nothing lost.
        """
        if self._at == self._end:
            if size_byte >= AHEAD_BYTE:
                return bytes(self._sock.recv(size_byte))
            self._end, self._at = self._sock.recv_into(self._store), 0
        start = self._at
        self._at = min(start + size_byte, self._end)
        return bytes(self._store[start : self._at])

    def pending(self) -> int:
        """Bytes that can be read without a look at the network."""
        inside = self._sock.pending() if hasattr(self._sock, "pending") else 0
        return self._end - self._at + int(inside)

    def send(self, data: bytes | bytearray) -> int:
        """As the socket does."""
        return int(self._sock.send(data))

    def sendall(self, data: bytes | bytearray) -> None:
        """As the socket does."""
        self._sock.sendall(data)

    def fileno(self) -> int:
        """As the socket does."""
        return int(self._sock.fileno())

    def setblocking(self, flag: bool) -> None:
        """As the socket does."""
        self._sock.setblocking(flag)

    def settimeout(self, timeout_s: float | None) -> None:
        """As the socket does."""
        self._sock.settimeout(timeout_s)

    def close(self) -> None:
        """As the socket does."""
        self._sock.close()
