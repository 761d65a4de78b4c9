"""Samples on their way into `sample_block`: stored at once in small blocks, which are joined when there are enough."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from daq.records import Samples
from daq.sinks.store.sample_blocks import COLUMNS, MAX_SAMPLES

BLOCK_US = 60_000_000
"""Blocks end where the board's clock passes a multiple of this, however the samples were delivered."""


@dataclass(frozen=True, slots=True)
class OpenBlock:
    """What is stored of the newest block: its small blocks and the rows they are in."""

    segment: int = -1
    window: int = -1
    offset_s: float = 0.0
    parts: tuple[Samples, ...] = ()
    row_ids: tuple[int, ...] = ()

    def takes(self, window: int, piece: Samples) -> bool:
        same = (self.segment, self.window) == (piece.segment, window)
        return same and sum(len(part.t_us) for part in self.parts) + len(piece.t_us) <= MAX_SAMPLES

    def with_part(self, piece: Samples, row_id: int) -> OpenBlock:
        return replace(self, parts=(*self.parts, piece), row_ids=(*self.row_ids, row_id))


def concatenate(parts: Sequence[Samples]) -> Samples:
    if len(parts) == 1:
        return parts[0]
    return Samples(parts[0].segment, *(np.concatenate([getattr(each, name) for each in parts]) for name in COLUMNS))


def pieces(samples: Samples) -> Iterator[tuple[int, Samples]]:
    """The samples cut where a block ends, each with the number of its block; none longer than a block may be."""
    windows = samples.t_us // BLOCK_US
    cuts = {0, *(np.flatnonzero(np.diff(windows)) + 1).tolist(), *range(0, len(windows), MAX_SAMPLES), len(windows)}
    for start, end in pairwise(sorted(cuts)):
        columns = (getattr(samples, name)[start:end] for name in COLUMNS)
        yield int(windows[start]), Samples(samples.segment, *columns)
