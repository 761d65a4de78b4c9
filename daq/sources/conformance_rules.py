"""Judgments on what a board sent. Each notes its finding through `expect(requirement, kept, evidence)`."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, zip_longest

import numpy as np
import numpy.typing as npt

from daq.sources.conformance_dialogue import Heard
from daq.wire import BadFrame, BadReason, Boot, Flag, Heartbeat, InputEvent, SampleBlock

Expect = Callable[[str, bool, str], None]
Ints = npt.NDArray[np.int64]

BAD_LINES = {
    "R1": (BadReason.NO_CRC, BadReason.NOT_ASCII),
    "R2": (BadReason.BAD_CRC,),
    "R3": (BadReason.BAD_GRAMMAR, BadReason.OVERSIZE),
    "R34": (BadReason.UNKNOWN_TYPE,),
}
CLOCK_TOLERANCE = 0.01
ARRIVAL_TOLERANCE_S = 0.1
"""What buffers and the host may add to the arrival of a line."""
BEAT_US = 1_000_000
BEAT_TOLERANCE_US = 100_000
SILENCE_S = 2.0
"""Longest time without a heartbeat as the host sees it: wide, because the board's own clock is judged closely."""
MEAN_TOLERANCE = 0.01
STEP_TOLERANCE = 0.20
SETTLING_SAMPLES = 2
MARK_BUTTON = 1
EDGE_TOLERANCE_US = 50_000
"""Debouncing, and what a board may take until its flags show it."""
REFERENCE_LOW, REFERENCE_HIGH = 47_500, 52_500
"""Limits of the reference flags in units of 0.1 mV; an estimate near a limit may fall on either side."""
REFERENCE_UNSURE = 500

_GLUED_BOOT = re.compile(rb".B,0[0-5],[0-9A-F]{4},0[01]\*")
_BARE_BOOT = re.compile(rb"\*[0-9A-F]{4}\r?\nB,")
"""A boot line right after a whole line: had that line been cut off, the two would be glued."""


@dataclass(frozen=True, slots=True)
class Converter:
    """What `CONFigure:ADC?` said."""

    bits: int
    absolute: bool


def samples(heard: Sequence[Heard]) -> int:
    """How many samples there are."""
    return sum(len(item.frame) for item in heard if isinstance(item.frame, SampleBlock))


def last_heartbeat(heard: Sequence[Heard]) -> Heartbeat | None:
    return next((item.frame for item in reversed(heard) if isinstance(item.frame, Heartbeat)), None)


def column(heard: Sequence[Heard], name: str) -> Ints:
    """One field of all samples."""
    blocks = [getattr(item.frame, name) for item in heard if isinstance(item.frame, SampleBlock)]
    return np.concatenate(blocks).astype(np.int64) if blocks else np.empty(0, np.int64)


def judge_stream(heard: Sequence[Heard], raw: bytes | bytearray, span_s: tuple[float, float], expect: Expect) -> None:
    """What holds for the whole conversation, whatever was asked. `span_s` is its begin and end on the host's clock."""
    _judge_lines(heard, expect)
    _judge_silence(heard, span_s, expect)
    for segment in _segments(heard):
        _judge_clock(segment, expect)
        _judge_heartbeats(segment, expect)
        _judge_sequence(segment, expect)
    _judge_inputs(heard, expect)
    _judge_boot(heard, raw, expect)


def judge_run(heard: Sequence[Heard], rate_hz: int, expect: Expect) -> None:
    """Spacing of the samples after a rate was set (R7)."""
    sequence, clock_us = (column(heard, name)[SETTLING_SAMPLES:] for name in ("sequence", "clock_us"))
    if len(sequence) < 3:
        expect("R7", False, f"{len(sequence)} samples at {rate_hz} Hz")
        return
    due, step_us = counted(sequence, 16), counted(clock_us, 32)
    interval_us = 1e6 / rate_hz
    mean_us = step_us.sum() / max(due.sum(), 1)
    expect("R7", abs(mean_us / interval_us - 1) <= MEAN_TOLERANCE, f"mean {mean_us:.1f} us at {rate_hz} Hz")
    punctual = column(heard, "flags")[SETTLING_SAMPLES + 1 :] & Flag.OVERRUN == 0
    off = np.abs(step_us / (np.maximum(due, 1) * interval_us) - 1) > STEP_TOLERANCE
    expect("R7", not (off & punctual).any(), f"{(off & punctual).sum()} steps of {len(off)} off by over 20 %")


def judge_samples(heard: Sequence[Heard], converter: Converter, calibrated: bool, expect: Expect) -> None:
    """Values of the samples against what the board says of itself (R8, R9, R10)."""
    full_scale = 1 << converter.bits
    largest = max(column(heard, name).max(initial=0) for name in ("supply_count", "cylinder_count"))
    expect("R8", largest < full_scale, f"largest count {largest} of {full_scale}")
    flags, reference = column(heard, "flags"), column(heard, "reference")
    if converter.absolute:
        kept = bool(((reference > 0) & (reference < full_scale)).all())
        expect("R9", kept, f"supply of the sensors as counts {reference.min(initial=full_scale)} and up")
    else:
        _judge_estimate(reference, flags, expect)
    both = Flag.REFERENCE_LOW | Flag.REFERENCE_HIGH
    expect("R10", not (flags & 0x80).any(), "reserved bit 7")
    expect("R10", not (flags & both == both).any(), "reference low and high together")
    valid = flags & Flag.CALIBRATION_VALID != 0
    expect("R10", bool((valid == calibrated).all()), f"calibration valid in {valid.sum()} of {len(valid)} samples")


def judge_marks(heard: Sequence[Heard], expect: Expect) -> None:
    """R10: bit 0 is up from a press to its release. Samples near an edge may fall on either side."""
    events = [item.frame for item in heard if isinstance(item.frame, InputEvent) and item.frame.number == MARK_BUTTON]
    clock_us, flags = column(heard, "clock_us"), column(heard, "flags")
    if not events or not clock_us.size:
        return
    edges_us = _since(np.array([event.clock_us for event in events], np.int64), int(clock_us[0]))
    samples_us = _since(clock_us, int(clock_us[0]))
    down = np.array([not events[0].pressed, *(event.pressed for event in events)])
    near = np.abs(samples_us[:, np.newaxis] - edges_us).min(axis=1) < EDGE_TOLERANCE_US
    told = flags & Flag.MARK_DOWN != 0
    wrong = int(((told != down[np.searchsorted(edges_us, samples_us)]) & ~near).sum())
    expect("R10", wrong == 0, f"mark input wrong in {wrong} of {len(told)} samples around {len(events)} edges")


def _since(clock_us: Ints, origin_us: int) -> Ints:
    """Time since a reading of the clock, before or after it, that wraps."""
    return (clock_us - origin_us + (1 << 31)) % (1 << 32) - (1 << 31)


def _judge_estimate(reference: Ints, flags: Ints, expect: Expect) -> None:
    known = reference != 0
    low, high = flags & Flag.REFERENCE_LOW != 0, flags & Flag.REFERENCE_HIGH != 0
    wrong = (
        (reference < REFERENCE_LOW - REFERENCE_UNSURE) & ~low
        | (reference > REFERENCE_LOW + REFERENCE_UNSURE) & low
        | (reference > REFERENCE_HIGH + REFERENCE_UNSURE) & ~high
        | (reference < REFERENCE_HIGH - REFERENCE_UNSURE) & high
    ) & known
    seen = f"{reference.min(initial=0xFFFF)} to {reference.max(initial=0)}" if known.any() else "none"
    expect("R9", not wrong.any(), f"estimate in 0.1 mV: {seen}; {wrong.sum()} samples with flags that do not agree")


def _judge_lines(heard: Sequence[Heard], expect: Expect) -> None:
    good = sum(not isinstance(item.frame, BadFrame) for item in heard) + samples(heard)
    bad = _bad_lines(heard)
    if not good and not bad:
        return
    for requirement, reasons in BAD_LINES.items():
        found = [frame for frame in bad if frame.reason in reasons]
        evidence = f"{len(found)} lines, first {found[0].evidence!r}" if found else f"{len(heard)} frames and blocks"
        expect(requirement, not found, evidence)


def _bad_lines(heard: Sequence[Heard]) -> list[BadFrame]:
    """Rejected lines, but for what a restart cut off."""
    frames = [item.frame for item in heard]
    return [
        frame
        for frame, follower in zip_longest(frames, frames[1:])
        if isinstance(frame, BadFrame) and not isinstance(follower, Boot)
    ]


def _segments(heard: Sequence[Heard]) -> Iterator[Sequence[Heard]]:
    """The conversation, parted where the board started anew."""
    starts = [0, *(place for place, item in enumerate(heard) if isinstance(item.frame, Boot)), len(heard)]
    for start, stop in pairwise(starts):
        yield heard[start:stop]


def _judge_clock(heard: Sequence[Heard], expect: Expect) -> None:
    """R5: samples and heartbeats tell one clock that goes on. R6: as fast as the host's."""
    beats = [item for item in heard if isinstance(item.frame, Heartbeat)]
    beat_us = np.array([item.frame.clock_us for item in beats if isinstance(item.frame, Heartbeat)], np.int64)
    for name, clock_us in (("samples", column(heard, "clock_us")), ("heartbeats", beat_us)):
        back = int((counted(clock_us, 32) >= 1 << 31).sum())
        expect("R5", back == 0, f"clock of {name} went back {back} times")
    apart_us = _apart(heard)
    if apart_us:
        worst_us = max(map(abs, apart_us))
        expect("R5", worst_us < 2 * BEAT_US, f"samples and heartbeats up to {worst_us / 1e6:.3f} s apart")
    if len(beats) < 3:
        return
    board_s, host_s = counted(beat_us, 32).sum() / 1e6, beats[-1].arrived_s - beats[0].arrived_s
    kept = abs(board_s - host_s) <= CLOCK_TOLERANCE * host_s + ARRIVAL_TOLERANCE_S
    expect("R6", kept, f"{board_s:.3f} s on the board in {host_s:.3f} s")


def _apart(heard: Sequence[Heard]) -> list[int]:
    """For each heartbeat while samples come: its clock less that of the sample before."""
    apart, last_us, last_s = [], 0, -1e9
    for item in heard:
        if isinstance(item.frame, SampleBlock):
            last_us, last_s = int(item.frame.clock_us[-1]), item.arrived_s
        elif isinstance(item.frame, Heartbeat) and item.frame.running and item.arrived_s - last_s < 1:
            apart.append((item.frame.clock_us - last_us + (1 << 31)) % (1 << 32) - (1 << 31))
    return apart


def _judge_silence(heard: Sequence[Heard], span_s: tuple[float, float], expect: Expect) -> None:
    """R11 on the host's clock: no long time without a heartbeat. What comes before a start, such as a boot loader,
    does not count."""
    signs = [
        (item.arrived_s, isinstance(item.frame, Boot)) for item in heard if isinstance(item.frame, Heartbeat | Boot)
    ]
    ends = pairwise([(span_s[0], False), *signs, (span_s[1], False)])
    longest_s = max((after_s - before_s for (before_s, _), (after_s, start) in ends if not start), default=0.0)
    expect("R11", longest_s <= SILENCE_S, f"{longest_s:.1f} s without a heartbeat")


def _judge_heartbeats(heard: Sequence[Heard], expect: Expect) -> None:
    """R11 on the board's clock."""
    clock_us = [item.frame.clock_us for item in heard if isinstance(item.frame, Heartbeat)]
    if len(clock_us) < 2:
        return
    step_us = counted(np.array(clock_us), 32)
    worst_us = np.abs(step_us - BEAT_US).max()
    expect("R11", worst_us <= BEAT_TOLERANCE_US, f"{step_us.min() / 1e6:.3f} to {step_us.max() / 1e6:.3f} s apart")


def _judge_sequence(heard: Sequence[Heard], expect: Expect) -> None:
    """R4: never twice the same and never back; what is missing is flagged, unless the line lost it."""
    sequence = column(heard, "sequence")
    if len(sequence) < 2:
        return
    due = counted(sequence, 16)
    back = int(((due == 0) | (due > 1 << 15)).sum())
    expect("R4", back == 0, f"sequence stood still or went back {back} times in {len(sequence)} samples")
    lossy = bool(_bad_lines(heard))
    told = column(heard, "flags")[1:] & (Flag.OVERRUN | Flag.TRANSMIT_DROP) != 0
    silent = int(((due > 1) & ~told).sum())
    if not lossy:
        expect("R4", silent == 0, f"{silent} jumps without a flag in {len(sequence)} samples")


def _judge_inputs(heard: Sequence[Heard], expect: Expect) -> None:
    last: dict[int, bool] = {}
    for item in heard:
        if isinstance(item.frame, InputEvent):
            event = item.frame
            before = last.get(event.number)
            expect("R13", before is not event.pressed, f"{event}, pressed before: {before}")
            last[event.number] = event.pressed


def _judge_boot(heard: Sequence[Heard], raw: bytes | bytearray, expect: Expect) -> None:
    boots = [item.frame for item in heard if isinstance(item.frame, Boot)]
    glued = [frame for frame in _bad_lines(heard) if _GLUED_BOOT.search(frame.evidence)]
    bare = _BARE_BOOT.findall(raw)
    if boots or glued:
        expect("R14", not glued and not bare, f"{len(boots)} boot lines, {len(glued) + len(bare)} without an LF before")
    for before, after in pairwise(boots):
        step = (after.boot_count - before.boot_count) % (1 << 16)
        never = before.boot_count == after.boot_count == 0
        expect("R15", step == 1 or never, f"boot count {before.boot_count}, then {after.boot_count}")


def counted(values: Ints, bits: int) -> Ints:
    """Differences from one to the next of a counter of so many bits."""
    return np.diff(values) % (1 << bits)
