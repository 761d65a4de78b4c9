"""What is wrong with a configuration, in words: where it stands, the key, what is wrong, what is allowed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from daq.config.config import Config
from daq.errors import BoretightError, ConfigError

HEADING = "The configuration is wrong:\n  "


def wrong_values(error: ValidationError, path: Path, values: dict[str, Any]) -> ConfigError:
    """One line a fault: where it stands (file or environment), the key, what is wrong, what is allowed."""
    lines = []
    for fault in error.errors():
        key = ".".join(str(part) for part in fault["loc"])
        lines.append(f"{_origin(key, path, values)}: {key or 'the file'}: {_wrong(fault)}")
    return ConfigError(HEADING + "\n  ".join(lines), "Correct the keys named and start again.")


def wrong_profile(error: BoretightError, path: Path, values: dict[str, Any]) -> ConfigError:
    """The profile that the configuration names is not there, or not what it should be."""
    where = _origin("engine.profile", path, values)
    return ConfigError(f"{HEADING}{where}: engine.profile: {error.what}", error.todo, error.evidence)


def _origin(key: str, path: Path, values: dict[str, Any]) -> str:
    node: Any = values
    for part in key.split("."):
        if not isinstance(node, dict) or part not in node:
            variable = "BORETIGHT_" + key.upper().replace(".", "__")
            return f"environment variable {variable}" if variable in os.environ else str(path)
        node = node[part]
    return str(path)


def _wrong(fault: Any) -> str:
    if fault["type"] == "extra_forbidden":
        known = _known_keys([str(part) for part in fault["loc"][:-1]])
        return f"there is no such key; allowed are {', '.join(known)}"
    message = str(fault["msg"]).removeprefix("Value error, ")
    return f"{message} (it is {fault['input']!r})"


def _known_keys(section: list[str]) -> list[str]:
    model: type[BaseModel] = Config
    for part in section:
        inner = model.model_fields[part].annotation
        if isinstance(inner, type) and issubclass(inner, BaseModel):
            model = inner
    return sorted(model.model_fields)
