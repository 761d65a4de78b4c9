"""What went by, what is wrong now, and how much room is left."""

from __future__ import annotations

import contextlib
import shutil
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from daq.records import Delivery, LinkChange, Restarted, Samples


@dataclass(slots=True)
class Health:
    """Counts what went by, and what is wrong now."""

    restarts: int = 0
    up_since_s: float | None = None
    newest_sample_s: float | None = None
    lines: Counter[str] = field(default_factory=Counter)

    @property
    def line_up(self) -> bool:
        return self.up_since_s is not None

    def observe(self, delivery: Delivery, arrived_s: float) -> None:
        for record in delivery.records:
            match record:
                case Samples():
                    self.newest_sample_s = arrived_s
                case LinkChange():
                    self.up_since_s = arrived_s if record.up else None
                case Restarted():
                    self.restarts += 1

    def silent_s(self, now_s: float) -> float:
        """How long a line that is up has brought no sample, since the newest or else since it came up; else zero."""
        if self.up_since_s is None:
            return 0.0
        return now_s - max(self.up_since_s, self.newest_sample_s or self.up_since_s)


def free_bytes(folder: Path) -> int | None:
    with contextlib.suppress(OSError):
        return shutil.disk_usage(folder).free
    return None


def size_bytes(path: Path) -> int | None:
    with contextlib.suppress(OSError):
        return path.stat().st_size
    return None
