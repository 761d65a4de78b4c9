"""MQTT: the sink that publishes a bench, and the feed that follows one. aiomqtt is imported when they connect."""

from daq.sinks.mqtt.announcer import Outbox, OutboxItem
from daq.sinks.mqtt.feed import subscribe
from daq.sinks.mqtt.pace import Reconnect
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.mqtt.sink import MqttSink

__all__ = ["MqttSettings", "MqttSink", "Outbox", "OutboxItem", "Reconnect", "subscribe"]
