"""The names of the MQTT tree: `<root>/v1/<bench>/<topic>`. Pure."""

from __future__ import annotations

import re
from dataclasses import dataclass

from daq.errors import ConfigError

VERSION = 1
NAME = re.compile(r"[a-z0-9-]{1,32}")


@dataclass(frozen=True, slots=True)
class Topics:
    """All topics of one bench. Raises ConfigError if a name could break the tree (`/`, `+`, `#`, blanks)."""

    bench: str
    root: str = "boretight"

    def __post_init__(self) -> None:
        for what, name in (("bench", self.bench), ("root of the topics", self.root)):
            if not NAME.fullmatch(name):
                raise ConfigError(
                    f"The name of the {what} cannot be part of an MQTT topic.",
                    todo="Use 1 to 32 of these characters: a-z, 0-9 and the dash.",
                    evidence=repr(name),
                )

    @property
    def prefix(self) -> str:
        return f"{self.root}/v{VERSION}/{self.bench}"

    def __getitem__(self, name: str) -> str:
        """The full topic of `status`, `live`, `last/3` and so on."""
        return f"{self.prefix}/{name}"

    @property
    def commands(self) -> str:
        """The filter that matches every command of this bench."""
        return self["command/+"]

    def name_of(self, topic: str) -> str | None:
        """`last/3` from the full topic; None if it belongs to another bench or another version."""
        prefix = self.prefix + "/"
        return topic.removeprefix(prefix) if topic.startswith(prefix) else None


def feed_filter(root: str, bench: str | None) -> str:
    """The subscription for everything that one bench says, or any bench."""
    return Topics(bench, root)["#"] if bench else f"{Topics('any', root).root}/v{VERSION}/+/#"
