"""The head of a message: who says it, which one it is, and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any


@dataclass(frozen=True, slots=True)
class Stamp:
    """`mono_s` is the board's clock where `segment` is given, else seconds since the daemon started."""

    bench: str
    boot: str
    seq: int
    utc_s: float
    mono_s: float
    segment: int | None = None

    def head(self) -> dict[str, Any]:
        head = {
            "bench": self.bench,
            "boot": self.boot,
            "seq": self.seq,
            "t": rfc3339(self.utc_s),
            "mono_s": self.mono_s,
        }
        return head if self.segment is None else head | {"segment": self.segment}


def rfc3339(utc_s: float) -> str:
    """Seconds since 1970 as `2030-01-31T23:59:59.000000Z`. Ref: RFC 3339."""
    return datetime.fromtimestamp(utc_s, UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")
