"""Follows any bench from the broker, as another program would."""

from __future__ import annotations

import asyncio
import json
import math
import secrets
import time
from collections.abc import AsyncGenerator, Callable, Iterable
from typing import Any

from daq.sinks.mqtt.connection import ProtocolChoice, connection
from daq.sinks.mqtt.pace import Reconnect
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.topics import everything

Feed = AsyncGenerator[tuple[str, dict[str, Any]], None]
MOST_BYTES = 65_536
MOST_DEPTH = 32
"""No message of ours is larger, or deeper than 1; what a stranger makes of its own may be a little."""


def _ignore(fault: str) -> None:
    pass


def _nothing() -> None:
    pass


async def subscribe(
    settings: MqttSettings,
    bench: str | None = None,
    *,
    on_fault: Callable[[str], None] = _ignore,
    on_connected: Callable[[], None] = _nothing,
) -> Feed:
    """(topic, payload) of each message of `bench`, or of all benches; retained ones first. Never ends by itself.

    A broker that is away is told to `on_fault` and tried again; each time that it is there, to `on_connected`. The
    bare word of `availability` comes as `{"availability": word}`. Whatever other programs say in the same tree does
    not end the feed: what is no JSON object (RFC 8259, so no NaN) of a sane size is passed over. `settings.bench` is
    not used.
    """
    from aiomqtt import MqttError

    protocol, reconnect = ProtocolChoice(settings.protocol), Reconnect()
    tls_context = await asyncio.to_thread(settings.tls_context)
    wanted = everything(settings.root, bench)
    while True:
        since_s: float | None = None
        client_id = f"{settings.root}-watch-{secrets.token_hex(4)}"
        try:
            async with connection(settings, protocol.version, client_id, tls_context) as client:
                since_s = time.monotonic()
                protocol.worked()
                await client.subscribe(wanted, qos=1)
                on_connected()
                async for message in client.messages:
                    if (payload := _payload(message.topic.value, message.payload)) is not None:
                        yield message.topic.value, payload
        except MqttError as error:
            _stop_if_cancelled(error)
            if since_s is None and protocol.refused(error):
                continue
            on_fault(f"MQTT broker {settings.address}: {error}")
        await asyncio.sleep(reconnect.delay_s(time.monotonic() - since_s if since_s is not None else 0.0))


def _stop_if_cancelled(error: Exception) -> None:
    """A goodbye that fails while we are told to end must not make us go on."""
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError from error


def _payload(topic: str, body: bytes) -> dict[str, Any] | None:
    if len(body) > MOST_BYTES:
        return None
    if topic.endswith("/availability"):
        return {"availability": body.decode("ascii", "replace")}
    try:
        payload = json.loads(body, parse_constant=_refuse, parse_float=_finite)
    except (ValueError, RecursionError):
        return None
    return payload if isinstance(payload, dict) and _is_shallow(payload) else None


def _refuse(name: str) -> None:
    raise ValueError(f"{name} is no JSON")


def _finite(text: str) -> float:
    """`1e999` is a number to JSON, and none to us."""
    number = float(text)
    if not math.isfinite(number):
        raise ValueError("beyond the range of IEEE 754 binary64")
    return number


def _is_shallow(tree: Any) -> bool:
    level = [tree]
    for _ in range(MOST_DEPTH):
        level = [below for each in level for below in _below(each)]
    return not level


def _below(tree: Any) -> Iterable[Any]:
    return tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else ()
