"""What strangers say in the same tree never ends the feed."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest
from aiomqtt import MqttError

from daq.sinks.mqtt import feed
from daq.sinks.mqtt.feed import MOST_BYTES, MOST_DEPTH, _payload, subscribe
from daq.sinks.mqtt.settings import MqttSettings

LIVE = "boretight/v1/b/live"


def nested(depth: int) -> bytes:
    return b'{"a":' * depth + b"1" + b"}" * depth


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{", b"[1]", b"\xff", b"3", b"null", b'"live"',
        b'{"loss_pct":NaN}', b'{"loss_pct":-Infinity}', b'{"a":[{"b":NaN}]}', b'{"loss_pct":1e999}',
        nested(MOST_DEPTH), nested(5000), b'{"a":' + b"[" * 50_000 + b"]" * 50_000 + b"}", b"[" * 60_000,
        b'{"a":' + b"9" * 5000 + b"}", json.dumps({"a": "x" * MOST_BYTES}).encode(),
    ],
    ids=lambda body: f"{body[:16]!r}-{len(body)}",
)  # fmt: skip
def test_what_is_no_message_is_passed_over(body: bytes) -> None:
    assert _payload(LIVE, body) is None


def test_what_is_a_message_is_taken() -> None:
    assert _payload(LIVE, b'{"v":1,"loss_pct":1.5,"more":{"a":[1]}}') == {"v": 1, "loss_pct": 1.5, "more": {"a": [1]}}
    assert _payload(LIVE, nested(MOST_DEPTH - 1)) is not None
    assert _payload("boretight/v1/b/availability", b"\xff") == {"availability": "\ufffd"}
    assert _payload("boretight/v1/b/availability", b"x" * (MOST_BYTES + 1)) is None


class Silent:
    """A client that is connected and hears nothing."""

    async def subscribe(self, wanted: str, qos: int) -> None:
        pass

    @property
    async def messages(self) -> AsyncIterator[Any]:
        await asyncio.Event().wait()
        yield


def test_it_ends_when_it_is_told_to_even_if_its_goodbye_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    @asynccontextmanager
    async def connection(*about: object) -> AsyncIterator[Silent]:
        try:
            yield Silent()
        except asyncio.CancelledError:
            raise MqttError("Operation timed out") from None

    async def follow(connected: asyncio.Event) -> None:
        async for _ in subscribe(MqttSettings("a"), on_connected=connected.set):
            pass

    async def scene() -> None:
        connected = asyncio.Event()
        following = asyncio.create_task(follow(connected))
        await connected.wait()
        following.cancel()
        await asyncio.wait({following}, timeout=20)
        assert following.cancelled()

    monkeypatch.setattr(feed, "connection", connection)
    asyncio.run(scene())
