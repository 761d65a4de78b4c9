"""The head of a message: who says it, which one it is, and when."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
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


class Stamper:
    """Numbers the messages of each stream of one run. `utc_s` and `mono_s` are the host's clocks."""

    def __init__(self, bench: str, boot: str, utc_s: Callable[[], float], mono_s: Callable[[], float]) -> None:
        self._bench, self._boot, self._utc_s, self._mono_s = bench, boot, utc_s, mono_s
        self._started_s = mono_s()
        self._next: Counter[str] = Counter()

    def now(self, stream: str) -> Stamp:
        """For what the daemon says of itself."""
        return Stamp(self._bench, self._boot, self._seq(stream), self._utc_s(), self._mono_s() - self._started_s)

    def at(self, stream: str, segment: int, t_s: float, utc_offset_s: float) -> Stamp:
        """For what stands at `t_s` on the board's clock."""
        return Stamp(self._bench, self._boot, self._seq(stream), utc_offset_s + t_s, t_s, segment)

    def _seq(self, stream: str) -> int:
        self._next[stream] += 1
        return self._next[stream] - 1


def rfc3339(utc_s: float) -> str:
    """Seconds since 1970 as `2030-01-31T23:59:59.000000Z`. Ref: RFC 3339."""
    return datetime.fromtimestamp(utc_s, UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")
