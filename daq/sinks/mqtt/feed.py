"""Follows any bench from the broker, as another program would."""

from __future__ import annotations

import asyncio
import json
import secrets
import time
from collections.abc import AsyncIterator, Callable
from typing import Any

from daq.sinks.mqtt.connection import ProtocolChoice, connection
from daq.sinks.mqtt.pace import Reconnect
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.topics import everything


def _ignore(fault: str) -> None:
    pass


async def subscribe(
    settings: MqttSettings, bench: str | None = None, *, on_fault: Callable[[str], None] = _ignore
) -> AsyncIterator[tuple[str, dict[str, Any]]]:
    """(topic, payload) of each message of `bench`, or of all benches; retained ones first. Never ends by itself.

    A broker that is away is told to `on_fault` and tried again. The bare word of `availability` comes as
    `{"availability": word}`; what is no JSON object is passed over. `settings.bench` is not used.
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
                async for message in client.messages:
                    if (payload := _payload(message.topic.value, message.payload)) is not None:
                        yield message.topic.value, payload
        except MqttError as error:
            if since_s is None and protocol.refused(error):
                continue
            on_fault(f"MQTT broker {settings.address}: {error}")
        await asyncio.sleep(reconnect.delay_s(time.monotonic() - since_s if since_s is not None else 0.0))


def _payload(topic: str, body: bytes) -> dict[str, Any] | None:
    if topic.endswith("/availability"):
        return {"availability": body.decode("ascii", "replace")}
    try:
        payload = json.loads(body)
    except ValueError:
        return None
    return payload if isinstance(payload, dict) else None
