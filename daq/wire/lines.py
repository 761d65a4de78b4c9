"""Cuts a stream of bytes into lines, with bounded memory."""

from __future__ import annotations

from daq.wire.frames import MAX_LINE_BYTES


class LineCutter:
    """Bytes in, whole lines out, without their LF and one CR before it.

    What exceeds `MAX_LINE_BYTES` before its LF is handed out once, cut just above the limit, as soon as that is
    known; the rest of it is dropped. `synchronised=False` drops everything up to the first LF.
    """

    def __init__(self, synchronised: bool = True) -> None:
        self._tail = b""
        self._dropping = not synchronised

    @property
    def pending(self) -> int:
        """Bytes kept of a line that has not ended; at most `MAX_LINE_BYTES` and one CR."""
        return len(self._tail)

    def cut(self, data: bytes) -> list[bytes]:
        """The lines that `data` completes."""
        if not self._dropping:
            data = self._tail + data
        else:
            _, ended, data = data.partition(b"\n")
            if not ended:
                return []
        lines = data.split(b"\n")
        self._tail = lines.pop()
        self._dropping = len(self._tail.removesuffix(b"\r")) > MAX_LINE_BYTES
        if self._dropping:
            lines.append(self._tail[: MAX_LINE_BYTES + 2])
            self._tail = b""
        return [line.removesuffix(b"\r") for line in lines] if b"\r" in data else lines
