"""Each frame: what it looks like on the line, and what it refuses to be."""

from __future__ import annotations

import numpy as np
import pytest

from daq.wire import SAMPLE_BYTES, BareBlock, Boot, Heartbeat, InputEvent, Reply, ResetCause, SampleBlock
from daq.wire.frames import BadFrame, BadReason


def block(n: int) -> SampleBlock:
    ramp = np.arange(n)
    return SampleBlock(
        ramp.astype(np.uint16),
        (ramp * 5000).astype(np.uint32),
        (ramp + 1).astype(np.uint16),
        (ramp + 2).astype(np.uint16),
        (ramp + 3).astype(np.uint16),
        np.full(n, 0x40, np.uint8),
    )


def test_a_sample_line_has_39_bytes() -> None:
    text = block(300).encode()
    assert len(text) == 300 * SAMPLE_BYTES == 300 * 39
    assert text.splitlines()[258].startswith(b"S,0102,0013AF10,0103,0104,0105,40*")


def test_an_empty_block_is_no_line() -> None:
    assert block(0).encode() == b""


def test_blocks_compare_by_value() -> None:
    assert block(3) == block(3)
    assert block(3) != block(4)
    assert block(3).rows(1, 3) != block(2)
    assert block(3) != "block"


@pytest.mark.parametrize("wrong", [np.zeros(2, np.uint16), np.zeros(3, np.int64), np.zeros((3, 1), np.uint16)])
def test_a_block_refuses_columns_that_do_not_fit(wrong: np.ndarray) -> None:
    sound = block(3)
    with pytest.raises(ValueError, match="cylinder_count"):
        SampleBlock(sound.sequence, sound.clock_us, sound.supply_count, wrong, sound.reference, sound.flags)


@pytest.mark.parametrize(
    "frame",
    [
        Heartbeat(1 << 32, False, 0, 0),
        Heartbeat(0, False, 1 << 16, 0),
        Heartbeat(-1, False, 0, 0),
        InputEvent(0, 256, True),
        Reply(1 << 16, 0, ""),
        Reply(0, 113, ""),
        Reply(0, -1000, ""),
        Reply(0, 0, "2*3"),
        Reply(0, 0, "line\nend"),
        Reply(0, 0, "t" * 101),
        Boot(ResetCause.WATCHDOG, 1 << 16, True),
    ],
)
def test_a_frame_that_does_not_fit_its_line_is_refused(frame: Heartbeat | InputEvent | Reply | Boot) -> None:
    with pytest.raises(ValueError, match="does not fit"):
        frame.encode()


def test_a_reply_is_ascii() -> None:
    with pytest.raises(UnicodeEncodeError):
        Reply(0, 0, "20 °C").encode()


def test_a_boot_line_follows_an_lf() -> None:
    assert Boot(ResetCause.POWER_ON, 7, True).encode().startswith(b"\nB,01,0007,01*")


def test_a_bare_line_is_two_numbers() -> None:
    assert BareBlock(np.array([0, 65535], np.uint16), np.array([7, 8], np.uint16)).encode() == b"0,7\n65535,8\n"


def test_evidence_is_at_most_64_bytes() -> None:
    assert BadFrame.of(BadReason.NO_CRC, bytes(range(100))).evidence == bytes(range(64))
