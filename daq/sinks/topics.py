"""The names of the MQTT tree, `<root>/v1/<bench>/<topic>`, and how each topic is published. Pure."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

from daq.errors import ConfigError

VERSION = 1
NAME = re.compile(r"[a-z0-9-]{1,32}")

DAY_S = 86_400
LIVE_MOST_PER_S = 10.0
LIVE_TTL_S = 5
STATUS_EACH_S = 30.0
COMMAND_BYTES = 4096


class Channel(NamedTuple):
    """How the messages of a topic travel; the expiry is for MQTT 5 only."""

    qos: int
    retain: bool
    expiry_s: int | None = None


CHANNELS = {
    "availability": Channel(1, True),
    "status": Channel(1, True),
    "describe": Channel(1, True),
    "session": Channel(1, True),
    "live": Channel(0, False, LIVE_TTL_S),
    "reading": Channel(1, False, 7 * DAY_S),
    "last": Channel(1, True),
    "verdict": Channel(1, True),
    "event": Channel(1, False, 7 * DAY_S),
    "command": Channel(1, False),
    "reply": Channel(1, False),
}


def channel_of(name: str) -> Channel:
    """`last/3` travels as `last` does."""
    return CHANNELS[name.partition("/")[0]]


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
        """The full topic of `status`, `live`, `last/3` and so on; `command/+` is the filter for all commands."""
        return f"{self.prefix}/{name}"

    def name_of(self, topic: str) -> str | None:
        """`last/3` from the full topic; None if it belongs to another bench or another version."""
        prefix = self.prefix + "/"
        return topic.removeprefix(prefix) if topic.startswith(prefix) else None


def everything(root: str, bench: str | None) -> str:
    """The subscription for all that one bench says, or any bench."""
    tree = Topics(bench or "any", root)
    return f"{tree.root}/v{VERSION}/{bench or '+'}/#"
