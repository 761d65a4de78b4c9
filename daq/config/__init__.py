"""The configuration file: every field checked, every error names file, key, what is wrong and what is allowed.

Order of precedence: command line, environment (`BORETIGHT_MQTT__HOST=...`), the TOML file, the defaults in `sections`.
"""

from daq.config.config import Config
from daq.config.loading import default_path, from_snapshot, load
from daq.config.sections import (
    CalibrationSection,
    ChannelSection,
    CuesSection,
    DisplaySection,
    EngineSection,
    InstrumentSection,
    LineSection,
    MqttSection,
    PageSection,
    StorageSection,
)

__all__ = [
    "CalibrationSection",
    "ChannelSection",
    "Config",
    "CuesSection",
    "DisplaySection",
    "EngineSection",
    "InstrumentSection",
    "LineSection",
    "MqttSection",
    "PageSection",
    "StorageSection",
    "default_path",
    "from_snapshot",
    "load",
]
