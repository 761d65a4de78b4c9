"""Samples out of the database again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from daq.errors import DataError
from daq.records import Samples
from daq.sinks.store.sample_blocks import decode

if TYPE_CHECKING:
    from sqlite_utils import Database

_BLOCKS = """
    SELECT sample_block.id, segment, block FROM sample_block JOIN boot ON boot.id = boot_id
    WHERE boot.name = ? ORDER BY segment, start_us, sample_block.id
"""


def read_samples(
    database: Database, boot: str, on_damage: Callable[[DataError], None] | None = None
) -> Iterator[Samples]:
    """All samples of a boot in order, block by block. What was missing between them stands in the `gap` events.

    A damaged block raises DataError, or is passed over after `on_damage` was told.
    """
    for block_id, segment, block in database.execute(_BLOCKS, [boot]):
        try:
            yield decode(block, segment)
        except DataError as error:
            error.evidence += f", block {block_id} of {boot}"
            if on_damage is None:
                raise
            on_damage(error)
