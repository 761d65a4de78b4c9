"""The SQLite database: what it holds, writing it, and what still is to be announced of it.

Here stands what reads it. The sink that writes it, `daq.sinks.store.store.Store`, wants an event loop and a thread, and
is imported from its module by those who run it.
"""

from daq.sinks.store.connection import open_readonly, readable
from daq.sinks.store.samples import StoredBlock, read_blocks, read_samples

__all__ = ["StoredBlock", "open_readonly", "read_blocks", "read_samples", "readable"]
