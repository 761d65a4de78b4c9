"""Just enough of MQTT 3.1.1 on a plain socket, QoS 0: so that no client library is in what is measured."""

from __future__ import annotations

import select
import socket
import struct
import time

CONNACK, PUBLISH, SUBACK = 0x20, 0x30, 0x90
PATIENCE_S = 10.0


class RawMqtt:
    """A connection to a broker on loopback, with TCP_NODELAY. Raises OSError when it is refused or lost."""

    def __init__(self, port: int, name: str) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), PATIENCE_S)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._buffer = bytearray()
        self._ask(b"\x10", _text("MQTT") + b"\x04\x02\x00\x00" + _text(name), CONNACK)

    def subscribe(self, topic_filter: str) -> None:
        self._ask(b"\x82", b"\x00\x01" + _text(topic_filter) + b"\x00", SUBACK)

    def publish(self, topic: str, body: bytes) -> None:
        self._send(b"\x30", _text(topic) + body)

    def receive(self, timeout_s: float) -> list[tuple[str, bytes, float]]:
        """Topic, body and time of arrival (monotonic, s) of what comes within the time; returns with the first."""
        if not select.select([self._socket], [], [], max(timeout_s, 0.0))[0]:
            return []
        data, arrived_s = self._socket.recv(65_536), time.monotonic()
        if not data:
            raise ConnectionError("the broker closed the connection")
        self._buffer += data
        messages = []
        for kind, content in self._packets():
            if kind & 0xF0 == PUBLISH:
                (length,) = struct.unpack_from(">H", content)
                messages.append((content[2 : 2 + length].decode(), content[2 + length :], arrived_s))
        return messages

    def close(self) -> None:
        self._socket.close()

    def _ask(self, kind: bytes, content: bytes, answer: int) -> None:
        self._send(kind, content)
        until_s = time.monotonic() + PATIENCE_S
        while time.monotonic() < until_s:
            self._buffer += self._socket.recv(65_536)
            if any(packet & 0xF0 == answer for packet, _ in self._packets()):
                return
        raise ConnectionError("the broker does not answer")

    def _send(self, kind: bytes, content: bytes) -> None:
        self._socket.sendall(kind + _length(len(content)) + content)

    def _packets(self) -> list[tuple[int, bytes]]:
        """Whole packets, taken out of the buffer."""
        packets = []
        while (found := _head(self._buffer)) is not None:
            start, end = found
            packets.append((self._buffer[0], bytes(self._buffer[start:end])))
            del self._buffer[:end]
        return packets


def _text(text: str) -> bytes:
    return struct.pack(">H", len(text.encode())) + text.encode()


def _length(number: int) -> bytes:
    """Ref: MQTT 3.1.1, 2.2.3."""
    digits = bytearray()
    while True:
        number, digit = number >> 7, number & 0x7F
        digits.append(digit | 0x80 if number else digit)
        if not number:
            return bytes(digits)


def _head(buffer: bytearray) -> tuple[int, int] | None:
    """Where the content of the first packet begins and ends; None if it is not there as a whole."""
    length = 0
    for at in range(1, min(len(buffer), 5)):
        length |= (buffer[at] & 0x7F) << 7 * (at - 1)
        if buffer[at] < 0x80:
            end = at + 1 + length
            return (at + 1, end) if len(buffer) >= end else None
    return None
