"""The one pipeline of live, replay and simulation: composition only.

Inputs -> frames -> samples -> ticks -> pressures -> readings -> events. The same bytes, split in any way, give the
same records: bit for bit, in the same order within each kind.

`line` comes from bytes to samples and to what the board says; `segment` gathers them into ticks; `measurement` makes
readings and events of those; `pipeline` puts the three and the test of the engine together.
"""

from daq.pipeline.pipeline import BARE_WARNING, Pipeline, run

__all__ = ["BARE_WARNING", "Pipeline", "run"]
