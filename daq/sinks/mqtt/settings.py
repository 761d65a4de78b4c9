"""How to reach the broker."""

from __future__ import annotations

import ssl
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from daq.errors import ConfigError


@dataclass(frozen=True, slots=True)
class MqttSettings:
    """`protocol` "auto" tries MQTT 5 first and falls back to 3.1.1 where the broker does not speak it.

    TLS checks the broker's certificate against `ca_file`, or against what the system trusts. `cert_file` and
    `key_file` are the client's own, for brokers that ask for them.
    """

    bench: str
    host: str = "127.0.0.1"
    port: int = 1883
    root: str = "boretight"
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    protocol: Literal["auto", "5", "3.1.1"] = "auto"
    keepalive_s: int = 15
    timeout_s: float = 5.0

    @property
    def address(self) -> str:
        return f"{self.host}:{self.port}"

    def tls_context(self) -> ssl.SSLContext | None:
        """None without TLS. Raises ConfigError if a certificate or key cannot be used. Reads files."""
        if not self.tls:
            return None
        try:
            context = ssl.create_default_context(cafile=self.ca_file)
            if self.cert_file is not None:
                context.load_cert_chain(self.cert_file, self.key_file)
        except OSError as error:
            raise ConfigError(
                "The certificates for the MQTT broker cannot be used.",
                todo="Check ca_file, cert_file and key_file: PEM files that this user may read.",
                evidence=str(error),
            ) from error
        return context
