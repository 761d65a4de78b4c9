"""What the pacing loop needs of a port."""

from __future__ import annotations

from typing import Protocol

MOST_PENDING_BYTES = 65_536
"""A line has no memory: what a host does not fetch for so long is lost, as on a UART without flow control."""
READ_BYTES = 4096


class Port(Protocol):
    """One end of a line; nothing in it blocks, except `wait`."""

    url: str
    """What a host opens, as pyserial understands it; the same before and after `unplug` and `plug`."""

    lost_bytes: int
    """What a listening host was too slow to fetch."""

    @property
    def listening(self) -> bool:
        """Whether a host had the line open at the last `exchange`."""

    @property
    def pending_bytes(self) -> int:
        """What waits for a host that is behind."""

    def plug(self) -> None:
        """Offer the line. Raises PortError when it cannot be offered. Harmless when it is."""

    def unplug(self) -> None:
        """Take the line away; a host that has it open sees it hang up. Harmless when there is none."""

    def exchange(self, data: bytes) -> bytes:
        """Send `data` and return what has come. What nobody listens to is lost."""

    def wait(self, seconds: float) -> None:
        """Return after this time, or sooner when something has come."""

    def close(self) -> None:
        """Take the line away for good."""


def append_what_fits(pending: bytearray, data: bytes) -> int:
    """Append as much of `data` to `pending` as there is room for; returns how many bytes were lost."""
    room = max(MOST_PENDING_BYTES - len(pending), 0)
    pending += data[:room]
    return max(len(data) - room, 0)
