"""Samples out of the database again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from daq.errors import DataError
from daq.records import Samples
from daq.sinks.store.database import Database
from daq.sinks.store.sample_blocks import decode

OnDamage = Callable[[DataError], None]

_BLOCKS = """
    SELECT sample_block.id, boot.name, segment, start_utc, start_us, n, block
    FROM sample_block JOIN boot ON boot.id = boot_id
    WHERE (:boot IS NULL OR boot.name = :boot) AND (:since IS NULL OR start_utc >= :since)
    ORDER BY boot_id, segment, start_us, sample_block.id
"""


@dataclass(frozen=True, slots=True)
class StoredBlock:
    """A block as it lies in the database. `start_utc` names the day for `start_us`, its first sample."""

    id: int
    boot: str
    segment: int
    start_utc: str
    start_us: int
    n: int
    block: bytes

    def samples(self) -> Samples:
        """DataError if the block is damaged or of a newer version."""
        try:
            return decode(self.block, self.segment)
        except DataError as error:
            error.evidence += f", block {self.id} of {self.boot}"
            raise


def read_blocks(database: Database, boot: str | None = None, since_utc: str | None = None) -> Iterator[StoredBlock]:
    """The blocks of one boot or of all, in order, that begin at `since_utc` or later."""
    for row in database.execute(_BLOCKS, {"boot": boot, "since": since_utc}):
        yield StoredBlock(*row)


def read_samples(database: Database, boot: str, on_damage: OnDamage | None = None) -> Iterator[Samples]:
    """All samples of a boot in order, block by block. What was missing between them stands in the `gap` events.

    A damaged block raises DataError, or is passed over after `on_damage` was told.
    """
    for stored in read_blocks(database, boot):
        try:
            yield stored.samples()
        except DataError as error:
            if on_damage is None:
                raise
            on_damage(error)
