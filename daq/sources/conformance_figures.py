"""What a check of a board measures beside its verdicts, in words."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

import numpy as np

from daq.sources.conformance_dialogue import Exchange, Heard
from daq.sources.conformance_rules import SETTLING_SAMPLES, column, counted
from daq.wire import Boot, Heartbeat

HOST_JITTER_S = 0.02
"""How late a line may be seen by a host that is not busy: common practice, no source."""
LEAST_TO_TELL = 3


def spacing(heard: Sequence[Heard]) -> str:
    """Of the samples after a rate was set, on the board's own clock."""
    sequence, clock_us = (column(heard, name)[SETTLING_SAMPLES:] for name in ("sequence", "clock_us"))
    if len(sequence) < LEAST_TO_TELL:
        return "too few samples"
    due, step_us = counted(sequence, 16), counted(clock_us, 32)
    single = step_us[due == 1]
    if not single.size:
        return "no two samples in a row"
    missing, mean_us = int(due.sum()) - len(due), step_us.sum() / due.sum()
    return f"{len(sequence)} samples, {missing} missing, mean {mean_us:.1f} us, {single.min()} to {single.max()} us"


def replies(exchanges: Sequence[Exchange]) -> str:
    """How long the board takes to answer, the line included."""
    delays_ms = [1e3 * exchange.delay_s for exchange in exchanges if exchange.reply is not None]
    if not delays_ms:
        return "no reply"
    return f"{len(delays_ms)} commands, median {median(delays_ms):.0f} ms, longest {max(delays_ms):.0f} ms"


def clock(heard: Sequence[Heard]) -> str:
    """How far the board's clock is from the host's, since the last start."""
    starts = [place for place, item in enumerate(heard) if isinstance(item.frame, Boot)]
    beats = [item for item in heard[starts[-1] if starts else 0 :] if isinstance(item.frame, Heartbeat)]
    if len(beats) < LEAST_TO_TELL:
        return "too few heartbeats"
    clock_us = [item.frame.clock_us for item in beats if isinstance(item.frame, Heartbeat)]
    board_s = int(counted(np.array(clock_us, np.int64), 32).sum()) / 1e6
    host_s = beats[-1].arrived_s - beats[0].arrived_s
    off, sure = 1e6 * (board_s / host_s - 1), 1e6 * HOST_JITTER_S / host_s
    return f"{off:+.0f} ppm against this computer in {host_s:.0f} s, known to {sure:.0f} ppm"
