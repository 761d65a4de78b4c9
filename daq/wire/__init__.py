"""The serial line as plain objects: bytes in, frames out, and back. Mirrors firmware_spec/protocol.md."""

from daq.wire.bare import BareDecoder
from daq.wire.commands import (
    DEFAULT_RATE_HZ,
    ERROR_QUEUE_LENGTH,
    ERROR_TEXTS,
    Command,
    CommandError,
    encode_command,
    max_rate_hz,
    parse_command,
)
from daq.wire.crc import crc16
from daq.wire.decoder import Decoder
from daq.wire.flags import PROTOCOL_VERSION, Flag, ResetCause, SelfTest
from daq.wire.frames import (
    MAX_LINE_BYTES,
    BadFrame,
    BadReason,
    BareBlock,
    Boot,
    Frame,
    Heartbeat,
    InputEvent,
    Reply,
)
from daq.wire.samples import SAMPLE_BYTES, SampleBlock

__all__ = [
    "DEFAULT_RATE_HZ",
    "ERROR_QUEUE_LENGTH",
    "ERROR_TEXTS",
    "MAX_LINE_BYTES",
    "PROTOCOL_VERSION",
    "SAMPLE_BYTES",
    "BadFrame",
    "BadReason",
    "BareBlock",
    "BareDecoder",
    "Boot",
    "Command",
    "CommandError",
    "Decoder",
    "Flag",
    "Frame",
    "Heartbeat",
    "InputEvent",
    "Reply",
    "ResetCause",
    "SampleBlock",
    "SelfTest",
    "crc16",
    "encode_command",
    "max_rate_hz",
    "parse_command",
]
