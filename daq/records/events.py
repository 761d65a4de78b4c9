"""All events, and what one step of the pipeline hands to the sinks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from daq.records.arrays import Readings, Samples
from daq.records.line import BadLines, BoardFault, Gap, LinkChange, Marked, Restarted
from daq.records.measured import (
    AirChange,
    Expectation,
    Fault,
    SoftStep,
    StableReading,
    SupplyChange,
    Tap,
    TapEffect,
    ZeroCheck,
)
from daq.records.test import Cue, CylinderDone, CylinderJudged, Finding, Session, TestDone, TestStarted, Withdrawn

Event = (
    StableReading
    | Tap
    | TapEffect
    | Expectation
    | ZeroCheck
    | Fault
    | SupplyChange
    | AirChange
    | Gap
    | BadLines
    | Restarted
    | LinkChange
    | Marked
    | BoardFault
    | SoftStep
    | TestStarted
    | Session
    | Finding
    | Withdrawn
    | Cue
    | CylinderDone
    | CylinderJudged
    | TestDone
)


Record = Samples | Readings | Event


@dataclass(frozen=True, slots=True)
class Delivery:
    """What one step of the pipeline hands to every sink, in the order of the stream."""

    records: tuple[Record, ...]
    utc_offset_s: Mapping[int, float]
    """For each segment named in `records`: what to add to its `t_s` to get seconds since 1970, UTC."""

    def utc_s(self, record: Event) -> float:
        return self.utc_offset_s[record.segment] + record.t_s
