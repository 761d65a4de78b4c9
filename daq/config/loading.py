"""From a file, or from the header of a raw log, to a configuration."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import platformdirs
from pydantic import ValidationError

from daq.config.config import Config
from daq.config.environment import from_environment
from daq.config.faults import wrong_profile, wrong_values
from daq.errors import ConfigError, DataError, UsageError


def default_path() -> Path:
    """Ref: XDG Base Directory Specification, through platformdirs."""
    return Path(platformdirs.user_config_dir("boretight")) / "boretight.toml"


def load(path: Path | None = None, **overrides: Any) -> Config:
    """The configuration of `path`, or of the default path if there is a file, or all defaults.

    `overrides` are nested dicts of what the command line said. Raises ConfigError.
    """
    source = path or default_path()
    values = _read(source) if path or source.exists() else {}

    try:
        return Config(**_over(_over(values, from_environment()), overrides))
    except ValidationError as error:
        raise wrong_values(error, source, values) from error
    except (UsageError, DataError) as error:
        raise wrong_profile(error, source, values) from error


def from_snapshot(values: Mapping[str, Any], origin: Path) -> Config:
    """The configuration that a raw log was made with, as its header keeps it (secrets are not in it)."""
    try:
        return Config(**values)
    except ValidationError as error:
        raise ConfigError(
            f"The configuration kept in {origin} does not fit this version of boretight.",
            todo="Give one with --config.",
            evidence="; ".join(f"{'.'.join(map(str, fault['loc']))}: {fault['msg']}" for fault in error.errors()),
        ) from error


def _over(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Both, key by key also within sections; where both say something, what is above holds."""
    merged = dict(below)
    for key, value in above.items():
        under = merged.get(key)
        merged[key] = _over(under, value) if isinstance(under, dict) and isinstance(value, dict) else value
    return merged


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise ConfigError(
            f"There is no configuration file {path}.", todo="Check the path given to --config."
        ) from error
    except OSError as error:
        raise ConfigError(
            f"The configuration file {path} cannot be read.",
            todo="Give yourself the right to read it.",
            evidence=str(error),
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ConfigError(f"{path} is not a TOML file.", todo="Correct the line named.", evidence=str(error)) from error
