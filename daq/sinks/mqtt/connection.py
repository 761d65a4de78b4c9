"""One connection to a broker, made of a fresh client each time; aiomqtt and paho are imported when first needed."""

from __future__ import annotations

import socket
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Any, Literal

from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.topics import Topics, channel_of

if TYPE_CHECKING:
    from aiomqtt import Client
    from paho.mqtt.properties import Properties

Version = Literal["5", "3.1.1"]
WILL_DELAY_S = 2
"""With MQTT 5 a drop shorter than this does not show as offline."""

MAX_WAITING_IN = 64
MAX_WAITING_OUT = 100
_UNSUPPORTED_VERSION = (1, 132)
_TIMED_OUT = "Operation timed out"


class ProtocolChoice:
    """Which version of MQTT to try next. What has worked is kept until the broker refuses it."""

    def __init__(self, wanted: Literal["auto", "5", "3.1.1"]) -> None:
        self._fixed = wanted != "auto"
        self._proven = False
        self.version: Version = "3.1.1" if wanted == "3.1.1" else "5"

    def worked(self) -> None:
        """The broker speaks this version: if it is silent later on, that has another reason."""
        self._proven = True

    def refused(self, error: Exception) -> bool:
        """Take note of a connection that failed; True if the older version should be tried at once.

        A broker that does not know MQTT 5 says so, closes the line, or is silent.
        """
        silent = str(error) == _TIMED_OUT and not self._proven
        if self._fixed or not (silent or _names_the_version(error)):
            return False
        self.version = "3.1.1" if self.version == "5" else "5"
        return self.version == "3.1.1"


def _names_the_version(error: Exception) -> bool:
    from aiomqtt.exceptions import MqttConnectError

    return isinstance(error, MqttConnectError) and getattr(error.rc, "value", error.rc) in _UNSUPPORTED_VERSION


@asynccontextmanager
async def connection(
    settings: MqttSettings,
    version: Version,
    client_id: str,
    tls_context: ssl.SSLContext | None = None,
    will_topic: str | None = None,
) -> AsyncIterator[Client]:
    """A connected client. Raises aiomqtt.MqttError if it cannot be had, or when it is lost while something waits.

    `will_topic` is set to `offline` by the broker when this connection ends without goodbye.
    """
    from aiomqtt import ProtocolVersion, Will
    from paho.mqtt.client import MQTT_CLEAN_START_FIRST_ONLY

    from daq.sinks.mqtt.client import Client

    five = version == "5"
    will = Will(will_topic, "offline", 1, True, _will_properties() if five else None) if will_topic else None
    # A client without a will needs no session; and with no properties even a lenient old broker understands enough
    # of MQTT 5 to refuse it at once.
    session = _session_properties() if five and will else None
    client = Client(
        settings.host,
        settings.port,
        identifier=client_id,
        username=settings.username,
        password=settings.password,
        protocol=ProtocolVersion.V5 if five else ProtocolVersion.V311,
        will=will,
        clean_session=None if five else True,
        clean_start=False if session else MQTT_CLEAN_START_FIRST_ONLY,
        properties=session,
        keepalive=settings.keepalive_s,
        timeout=settings.timeout_s,
        tls_context=tls_context,
        max_queued_incoming_messages=MAX_WAITING_IN,
        max_queued_outgoing_messages=MAX_WAITING_OUT,
        # Nagle's algorithm and delayed acknowledgement together would hold a live message for tens of milliseconds.
        socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
    )
    try:
        await client.__aenter__()
    except BaseException:
        client._client.disconnect()  # aiomqtt leaves the socket of a failed attempt open
        raise
    try:
        yield client
    except BaseException as error:
        await client.__aexit__(type(error), error, error.__traceback__)
        raise
    else:
        await client.__aexit__(None, None, None)


class Publisher:
    """`await publish("status", body)`: topic, quality of service, retention and expiry follow from the name."""

    def __init__(self, client: Client, topics: Topics, version: Version) -> None:
        self._client, self._topics, self._five = client, topics, version == "5"
        self._properties: dict[str, Properties] = {}

    async def __call__(self, name: str, body: str) -> None:
        """Returns when the broker has acknowledged (QoS 1), or when it is on its way (QoS 0)."""
        channel = channel_of(name)
        properties = self._properties_of(name, channel.expiry_s) if self._five else None
        await self._client.publish(self._topics[name], body, channel.qos, channel.retain, properties)

    async def reply(self, body: str, asked: Any) -> None:
        """Answer to the response topic that MQTT 5 properties `asked` name, else on `reply`."""
        topic = getattr(asked, "ResponseTopic", None)
        if not topic or set("+#") & set(topic):
            return await self("reply", body)
        properties = _publish_properties("application/json", None)
        if (correlation := getattr(asked, "CorrelationData", None)) is not None:
            properties.CorrelationData = correlation
        return await self._client.publish(topic, body, 1, False, properties)

    def _properties_of(self, name: str, expiry_s: int | None) -> Properties:
        if name not in self._properties:
            content_type = "text/plain" if name == "availability" else "application/json"
            self._properties[name] = _publish_properties(content_type, expiry_s)
        return self._properties[name]


def _publish_properties(content_type: str, expiry_s: int | None) -> Properties:
    expiry = {} if expiry_s is None else {"MessageExpiryInterval": expiry_s}
    return _properties("PUBLISH", PayloadFormatIndicator=1, ContentType=content_type, **expiry)


def _will_properties() -> Properties:
    return _properties(
        "WILLMESSAGE", WillDelayInterval=WILL_DELAY_S, PayloadFormatIndicator=1, ContentType="text/plain"
    )


def _session_properties() -> Properties:
    """The session outlives the connection as long as the will waits: a new connection in that time stops the will."""
    return _properties("CONNECT", SessionExpiryInterval=WILL_DELAY_S)


def _properties(packet: str, **values: int | str) -> Properties:
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties

    properties = Properties(getattr(PacketTypes, packet))  # type: ignore[no-untyped-call]
    for name, value in values.items():
        setattr(properties, name, value)
    return properties
