"""The SQLite database: what it holds, writing it, and what still is to be announced of it."""

from daq.sinks.store.boot import Boot
from daq.sinks.store.connection import open_readonly, readable
from daq.sinks.store.outbox import Outbox, OutboxItem
from daq.sinks.store.samples import StoredBlock, read_blocks, read_samples
from daq.sinks.store.store import Store
from daq.sinks.store.writer import Renderer

__all__ = [
    "Boot",
    "Outbox",
    "OutboxItem",
    "Renderer",
    "Store",
    "StoredBlock",
    "open_readonly",
    "read_blocks",
    "read_samples",
    "readable",
]
