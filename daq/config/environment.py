"""What the environment says of the configuration: `BORETIGHT_MQTT__HOST=...`, or a whole section as JSON.

The library that reads it is imported where there is something to read only: it is a third of the start of a command.
"""

from __future__ import annotations

import os
from typing import Any

from daq.config.config import Config
from daq.errors import ConfigError

PREFIX = "BORETIGHT_"


def from_environment() -> dict[str, Any]:
    """The values as nested texts, unchecked. Names of variables may be in lower case too. Raises ConfigError."""
    if not any(name.upper().startswith(PREFIX) for name in os.environ):
        return {}
    from pydantic_settings import BaseSettings, EnvSettingsSource, SettingsConfigDict, SettingsError

    class Spoken(BaseSettings, Config):
        """The fields of the configuration, for the library to look for."""

        model_config = SettingsConfigDict(env_prefix=PREFIX, env_nested_delimiter="__", defer_build=True)

    try:
        return EnvSettingsSource(Spoken)()
    except SettingsError as error:
        raise ConfigError(
            "A variable of the environment is to hold a whole section, and is no JSON.",
            f"Correct it, or set one key each: {PREFIX}SECTION__KEY.",
            f"{error}: {error.__cause__}",
        ) from error
