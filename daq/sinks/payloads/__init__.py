"""The MQTT messages: their models, the bodies made from records, and the published schemas."""

from daq.sinks.payloads.event_bodies import event_body, stream_of
from daq.sinks.payloads.models import VERBS, Command
from daq.sinks.payloads.stamp import Stamp, Stamper, rfc3339
from daq.sinks.payloads.state_bodies import (
    BenchDescription,
    StatusFields,
    describe_body,
    live_body,
    reply_body,
    session_body,
    status_body,
)

__all__ = [
    "VERBS",
    "BenchDescription",
    "Command",
    "Stamp",
    "Stamper",
    "StatusFields",
    "describe_body",
    "event_body",
    "live_body",
    "reply_body",
    "rfc3339",
    "session_body",
    "status_body",
    "stream_of",
]
