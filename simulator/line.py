"""A serial line that is not perfect: it loses, garbles and invents bytes, always the same for the same seed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf, log

import numpy as np

_LF = 0x0A
_HIT_WITHIN = 8
"""A corrupted line is hit within its first bytes, so that its end survives."""


@dataclass(frozen=True, slots=True)
class LineTraits:
    """Probability that a byte is lost, and that one bit of it is flipped."""

    drop_probability: float = 0.0
    flip_probability: float = 0.0


class _Misfortune:
    """Strikes single bytes of a stream at random, whatever the cut of the stream."""

    def __init__(self, probability: float, seed: int, stream: int) -> None:
        self.random = np.random.default_rng([seed, stream])
        self._probability = probability
        self._spared = self._distance()

    def _distance(self) -> float:
        """How many bytes are spared before the next is struck; geometric."""
        if self._probability <= 0.0:
            return inf
        return float(int(log(1.0 - self.random.random()) / log(1.0 - self._probability)))

    def strikes(self, length: int) -> Iterator[int]:
        """Which of the next `length` bytes are struck, in rising order."""
        at = self._spared
        while at < length:
            yield int(at)
            at += 1.0 + self._distance()
        self._spared = at - length


class Line:
    """Carries bytes from the board. What comes out does not depend on how the bytes are cut into calls."""

    def __init__(self, traits: LineTraits, seed: int) -> None:
        self._flips = _Misfortune(traits.flip_probability, seed, 100)
        self._drops = _Misfortune(traits.drop_probability, seed, 101)
        self._random = np.random.default_rng([seed, 102])
        self._to_drop = self._to_corrupt = 0
        self._hit_after: int | None = None
        self._line_begins = False
        self._invented = b""

    def drop_bytes(self, count: int) -> None:
        """Lose the next bytes."""
        self._to_drop += count

    def corrupt_lines(self, count: int) -> None:
        """Flip one bit in each of the next lines."""
        self._to_corrupt += count

    def invent(self, count: int) -> None:
        """Put random bytes before the next byte."""
        self._invented += self._random.bytes(count)

    def carry(self, data: bytes) -> bytes:
        """What arrives of `data`."""
        if not data:
            return b""
        kept = bytearray(data)
        self._corrupt(kept)
        for at in self._flips.strikes(len(kept)):
            kept[at] ^= 1 << int(self._flips.random.integers(8))
        gone = set(self._drops.strikes(len(kept)))
        gone.update(range(min(self._to_drop, len(kept))))
        self._to_drop -= min(self._to_drop, len(kept))
        arrived = bytes(byte for at, byte in enumerate(kept) if at not in gone) if gone else bytes(kept)
        invented, self._invented = self._invented, b""
        return invented + arrived

    def _corrupt(self, data: bytearray) -> None:
        if not self._to_corrupt and self._hit_after is None:
            self._line_begins = data[-1] == _LF
            return
        for at, byte in enumerate(data):
            if self._line_begins and self._to_corrupt and self._hit_after is None:
                self._to_corrupt -= 1
                self._hit_after = int(self._random.integers(_HIT_WITHIN))
            self._line_begins = byte == _LF
            if self._hit_after is not None:
                self._hit_after -= 1
                if self._hit_after < 0:
                    data[at] ^= 1 << int(self._random.integers(1, 4))
                    self._hit_after = None
