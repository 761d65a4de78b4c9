"""The frozen types that travel from the serial line to the sinks.

Times: `t_s` and `t_us` are the board's clock, unwrapped, counted within one `segment`; a segment begins when the
board is connected or restarts. `arrived_s` and `at_s` are the host's clock (seconds since 1970, UTC); they name
the day and never enter a measurement. Pressures are pascals, gauge where the name says so.

Each theme has a module of its own: `inputs`, `arrays`, `measured`, `line` and `test` (the three kinds of events),
`events` (all of them, and `Delivery`), `bench`. Import from here, whichever it is.
"""

from daq.records.arrays import Bools, Floats, Ints, Pressures, Readings, Samples, Ticks
from daq.records.bench import (
    Board,
    Calibration,
    ChannelCalibration,
    Instrument,
    Limit,
    LineFormat,
    Pairing,
    ReferenceMode,
    RestrictorCalibration,
)
from daq.records.events import Delivery, Event, Record
from daq.records.inputs import Chunk, Input, LinkDown, LinkUp, Mark, MarkKind, Resume
from daq.records.line import BadLines, BoardFault, Gap, LinkChange, Marked, Restarted
from daq.records.measured import (
    AirChange,
    AirState,
    Contribution,
    Expectation,
    Fault,
    SoftStep,
    StableReading,
    SupplyChange,
    SupplyState,
    Tap,
    TapEffect,
    TapVerdict,
    ZeroCheck,
)
from daq.records.test import (
    Cue,
    CueLevel,
    CylinderDone,
    Finding,
    Place,
    Session,
    Strength,
    TakenBack,
    TestDone,
    TestStarted,
    Withdrawn,
)

__all__ = [
    "AirChange",
    "AirState",
    "BadLines",
    "Board",
    "BoardFault",
    "Bools",
    "Calibration",
    "ChannelCalibration",
    "Chunk",
    "Contribution",
    "Cue",
    "CueLevel",
    "CylinderDone",
    "Delivery",
    "Event",
    "Expectation",
    "Fault",
    "Finding",
    "Floats",
    "Gap",
    "Input",
    "Instrument",
    "Ints",
    "Limit",
    "LineFormat",
    "LinkChange",
    "LinkDown",
    "LinkUp",
    "Mark",
    "MarkKind",
    "Marked",
    "Pairing",
    "Place",
    "Pressures",
    "Readings",
    "Record",
    "ReferenceMode",
    "Restarted",
    "RestrictorCalibration",
    "Resume",
    "Samples",
    "Session",
    "SoftStep",
    "StableReading",
    "Strength",
    "SupplyChange",
    "SupplyState",
    "TakenBack",
    "Tap",
    "TapEffect",
    "TapVerdict",
    "TestDone",
    "TestStarted",
    "Ticks",
    "Withdrawn",
    "ZeroCheck",
]
