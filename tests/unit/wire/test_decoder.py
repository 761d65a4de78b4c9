"""Streams as bytes really arrive: one at a time, cut, glued, damaged, flooded."""

from __future__ import annotations

import tracemalloc

import pytest

from daq.wire import (
    MAX_LINE_BYTES,
    BadFrame,
    BadReason,
    BareBlock,
    BareDecoder,
    Boot,
    Decoder,
    Frame,
    Heartbeat,
    InputEvent,
    Reply,
    ResetCause,
    SampleBlock,
)
from daq.wire.crc import seal

SAMPLE = seal(b"S,01A4,002014E4,0A22,0973,C2CE,40")
FRAMES: list[Heartbeat | InputEvent | Reply | Boot] = [
    Heartbeat(1_000_000, True, 3, 1),
    InputEvent(2_000_000, 1, True),
    Reply(7, -113, "Undefined header"),
    Boot(ResetCause.BROWN_OUT, 9, False),
]


def kinds(frames: list[Frame]) -> list[str]:
    """Names of what came, with the number of samples and the reasons of bad lines."""
    return [
        f"{len(frame)} samples"
        if isinstance(frame, SampleBlock)
        else str(frame.reason)
        if isinstance(frame, BadFrame)
        else type(frame).__name__
        for frame in frames
    ]


def test_consecutive_samples_of_one_feed_are_one_block() -> None:
    beat = FRAMES[0].encode()
    assert kinds(Decoder().feed(SAMPLE * 3 + beat + SAMPLE * 2)) == ["3 samples", "Heartbeat", "2 samples"]


def test_one_byte_at_a_time() -> None:
    stream = b"".join(frame.encode() for frame in FRAMES) + b"junk\n"
    decoder = Decoder()
    frames = [frame for byte in stream for frame in decoder.feed(bytes([byte]))]
    assert frames == [*FRAMES, BadFrame(BadReason.NO_CRC, b"junk")]
    assert decoder.pending == 0


def test_an_empty_feed_gives_nothing() -> None:
    decoder = Decoder()
    assert decoder.feed(b"") == []
    assert decoder.feed(SAMPLE[:5]) == []
    assert decoder.feed(b"") == []
    assert kinds(decoder.feed(SAMPLE[5:])) == ["1 samples"]


def test_bad_samples_stand_where_they_came() -> None:
    bad = SAMPLE.replace(b"0A22", b"0A23")
    stream = bad + SAMPLE + bad + bad + SAMPLE + SAMPLE + bad
    expected = ["bad_crc", "1 samples", "bad_crc", "bad_crc", "2 samples", "bad_crc"]
    assert kinds(Decoder().feed(stream)) == expected


def test_opened_in_mid_line_the_first_part_is_dropped_silently() -> None:
    assert kinds(Decoder(synchronised=False).feed(SAMPLE[9:] + SAMPLE)) == ["1 samples"]
    assert kinds(Decoder(synchronised=True).feed(SAMPLE[9:] + SAMPLE)) == ["bad_crc", "1 samples"]


def test_opened_in_a_flood_nothing_is_kept() -> None:
    decoder = Decoder(synchronised=False)
    assert decoder.feed(b"x" * 1000) == []
    assert decoder.pending == 0
    assert kinds(decoder.feed(b"x\n" + SAMPLE)) == ["1 samples"]


@pytest.mark.parametrize("make", [Decoder, BareDecoder])
@pytest.mark.parametrize("piece", [1, 7, 1 << 16])
def test_a_flood_without_line_ends_is_one_bad_line_and_takes_no_memory(
    make: type[Decoder] | type[BareDecoder], piece: int
) -> None:
    decoder, data = make(), b"7" * piece
    frames: list[Frame] = []
    tracemalloc.start()
    for _ in range(max(200, 20_000_000 // (1 << 16)) if piece > 1000 else 5_000):
        frames += decoder.feed(data)
        assert decoder.pending <= MAX_LINE_BYTES + 1
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert kinds(frames) == ["oversize"]
    assert peak < 10 * (1 << 16)


def test_a_flood_ends_with_its_line() -> None:
    decoder = Decoder()
    assert kinds(decoder.feed(b"x" * 500)) == ["oversize"]
    assert kinds(decoder.feed(b"x" * 500 + b"\n" + SAMPLE)) == ["1 samples"]


@pytest.mark.parametrize("line", [SAMPLE, *(frame.encode() for frame in FRAMES)], ids=lambda line: line.strip()[:1])
def test_no_flipped_bit_passes(line: bytes) -> None:
    """Every single flip of every bit of a line costs that line; one that spoils its LF costs the next one too."""
    line = line.lstrip(b"\n")
    beat = Heartbeat(5, True, 0, 0)
    for bit in range(len(line) * 8):
        damaged = bytearray(line)
        damaged[bit // 8] ^= 1 << bit % 8
        frames = Decoder().feed(bytes(damaged) + beat.encode() + beat.encode())
        good = [frame for frame in frames if not isinstance(frame, BadFrame)]
        assert good == ([beat] if bit // 8 == len(line) - 1 else [beat, beat])
        assert len(good) < len(frames)


def test_no_two_flipped_bits_in_a_sample_pass() -> None:
    line = SAMPLE.rstrip(b"\n")
    flips = [(1 << bit).to_bytes(len(line), "big") for bit in range(len(line) * 8)]
    damaged = [
        bytes(a ^ b ^ c for a, b, c in zip(line, flips[i], flips[j], strict=True)) for i in range(304) for j in range(i)
    ]
    frames = Decoder().feed(b"\n".join(damaged) + b"\n")
    assert [frame for frame in frames if not isinstance(frame, BadFrame)] == []


def test_bare_pairs_of_one_feed_are_one_block() -> None:
    frames = BareDecoder().feed(b"1,2\r\n\n3 4\nboot\n5;6\n7,")
    assert kinds(frames) == ["BareBlock", "bad_grammar", "BareBlock"]
    blocks = [frame for frame in frames if isinstance(frame, BareBlock)]
    assert [block.supply_count.tolist() for block in blocks] == [[1, 3], [5]]
    assert [block.cylinder_count.tolist() for block in blocks] == [[2, 4], [6]]


def test_a_bare_board_opened_in_mid_line() -> None:
    assert kinds(BareDecoder(synchronised=False).feed(b"94,2419\n2594,2419\n")) == ["BareBlock"]
    assert BareDecoder(synchronised=False).feed(b"94,2419\n") == []
