"""The broker of the configuration, for the daemon and for commands that speak to one without starting any."""

from __future__ import annotations

from daq.config import Config
from daq.sinks.mqtt.settings import MqttSettings

LOOPBACK = "127.0.0.1"


def mqtt_settings(config: Config, host: str | None = None, port: int | None = None) -> MqttSettings:
    """The broker of the configuration; `host` and `port` of the command line come first."""
    section = config.mqtt
    return MqttSettings(
        bench=config.bench,
        host=host or section.host or LOOPBACK,
        port=section.port if port is None else port,
        root=section.root,
        username=section.username,
        password=section.password.get_secret_value() if section.password else None,
        tls=section.tls,
        ca_file=section.ca_file,
        cert_file=section.cert_file,
        key_file=section.key_file,
        protocol=section.protocol,
    )
