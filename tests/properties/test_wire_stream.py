"""The serial line under any split, any garbage, any damage."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.wire import (
    BadFrame,
    BareBlock,
    BareDecoder,
    Boot,
    Command,
    CommandError,
    Decoder,
    Frame,
    Heartbeat,
    InputEvent,
    Reply,
    ResetCause,
    SampleBlock,
    encode_command,
    parse_command,
)

BYTE, WORD, DWORD = (st.integers(0, (1 << bits) - 1) for bits in (8, 16, 32))
TEXT = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E, exclude_characters="*"), max_size=100)
HEARTBEATS = st.builds(Heartbeat, DWORD, st.booleans(), WORD, WORD)
INPUTS = st.builds(InputEvent, DWORD, BYTE, st.booleans())
REPLIES = st.builds(Reply, WORD, st.one_of(st.just(0), st.integers(-999, -1)), TEXT)
BOOTS = st.builds(Boot, st.sampled_from(ResetCause), WORD, st.booleans())
SAMPLE_TYPES = (np.uint16, np.uint32, np.uint16, np.uint16, np.uint16, np.uint8)
BARE = st.lists(st.tuples(WORD, WORD), min_size=1, max_size=20).map(
    lambda rows: BareBlock(*(np.array(column, np.uint16) for column in zip(*rows, strict=True)))
)
GARBAGE = st.binary(max_size=300).map(lambda data: data.replace(b"\n", b"?"))


def block_of(rows: Sequence[tuple[int, ...]]) -> SampleBlock:
    columns = zip(*rows, strict=True)
    return SampleBlock(*(np.array(column, dtype) for column, dtype in zip(columns, SAMPLE_TYPES, strict=True)))


SAMPLES = st.lists(st.tuples(WORD, DWORD, WORD, WORD, WORD, BYTE), min_size=1, max_size=20).map(block_of)
FRAMES = st.one_of(SAMPLES, HEARTBEATS, INPUTS, REPLIES, BOOTS)


def events(frames: Iterable[Frame]) -> list[Any]:
    """Frames without their blocking: each sample an event of its own."""
    found: list[Any] = []
    for frame in frames:
        if isinstance(frame, SampleBlock | BareBlock):
            columns = [getattr(frame, name).tolist() for name in type(frame).__slots__]
            found += zip(*columns, strict=True)
        else:
            found.append(frame)
    return found


def good(frames: Iterable[Frame]) -> list[Any]:
    return events(frame for frame in frames if not isinstance(frame, BadFrame))


def split(stream: bytes, cuts: Iterable[int]) -> list[bytes]:
    places = [0, *sorted(cut % (len(stream) + 1) for cut in cuts), len(stream)]
    return [stream[start:stop] for start, stop in pairwise(places)]


STREAMS = st.lists(st.one_of(FRAMES.map(lambda f: f.encode()), GARBAGE, GARBAGE.map(lambda g: g + b"\n")), max_size=12)
CUTS = st.lists(st.integers(0, 1 << 16), max_size=20)


@pytest.mark.parametrize("make", [Decoder, BareDecoder])
@settings(deadline=None)
@given(pieces=STREAMS, cuts=CUTS, synchronised=st.booleans())
def test_any_split_gives_the_same_events(make: Any, pieces: list[bytes], cuts: list[int], synchronised: bool) -> None:
    stream = b"".join(pieces)
    whole, parted = make(synchronised), make(synchronised)
    expected = events(whole.feed(stream))
    assert events(frame for piece in split(stream, cuts) for frame in parted.feed(piece)) == expected
    assert parted.pending == whole.pending
    single = make(synchronised)
    assert events(frame for byte in stream for frame in single.feed(bytes([byte]))) == expected


@pytest.mark.parametrize(
    "frames",
    [SAMPLES, HEARTBEATS, INPUTS, REPLIES, BOOTS, BARE],
    ids=["sample", "heartbeat", "input", "reply", "boot", "bare"],
)
@settings(deadline=None)
@given(data=st.data(), ending=st.sampled_from([b"\n", b"\r\n"]))
def test_round_trip(frames: st.SearchStrategy[Any], data: st.DataObject, ending: bytes) -> None:
    frame = data.draw(frames)
    decoder = BareDecoder() if isinstance(frame, BareBlock) else Decoder()
    line = frame.encode()
    (back,) = decoder.feed(line.replace(b"\n", ending))
    assert back == frame
    assert back.encode() == line


@settings(deadline=None)
@given(st.lists(st.tuples(FRAMES, GARBAGE), max_size=10))
def test_garbage_on_lines_of_its_own_costs_nothing(pairs: list[tuple[Any, bytes]]) -> None:
    stream = b"".join(frame.encode() + garbage + b"\n" for frame, garbage in pairs)
    assert good(Decoder().feed(stream)) == events(frame for frame, _ in pairs)


@settings(deadline=None)
@given(st.lists(st.tuples(FRAMES, GARBAGE.filter(lambda data: data.strip(b"\r"))), max_size=10))
def test_each_garbage_line_is_one_bad_line(pairs: list[tuple[Any, bytes]]) -> None:
    stream = b"".join(frame.encode() + garbage + b"\n" for frame, garbage in pairs)
    assert sum(isinstance(frame, BadFrame) for frame in Decoder().feed(stream)) == len(pairs)


NUMBERED = st.lists(st.tuples(DWORD, WORD, WORD, WORD, BYTE), min_size=1, max_size=30).map(
    lambda rows: [block_of([(number, *row)]) for number, row in enumerate(rows)]
)


@settings(deadline=None)
@given(samples=NUMBERED, start=st.integers(0, 1 << 16), length=st.integers(0, 60), by=st.binary(max_size=60))
def test_damage_costs_only_the_lines_it_touches(samples: list[SampleBlock], start: int, length: int, by: bytes) -> None:
    """Bytes lost, changed or put in anywhere: untouched lines all come through, and nothing wrong ever does."""
    lines = [sample.encode() for sample in samples]
    stream = b"".join(lines)
    start %= len(stream) + 1
    stop = min(start + length, len(stream))
    seen = good(Decoder().feed(stream[:start] + by + stream[stop:]))
    size = len(lines[0])
    untouched = [n for n in range(len(lines)) if (n + 1) * size <= start or n * size > stop]
    sent = events(samples)
    assert [event for event in seen if event not in sent] == []
    assert {sent[n] for n in untouched} <= set(seen)


@settings(deadline=None)
@given(st.lists(st.binary(max_size=400).map(lambda data: data.replace(b"\n", b"")), min_size=1, max_size=50))
def test_without_line_ends_memory_is_bounded(pieces: list[bytes]) -> None:
    decoder = Decoder()
    frames = [frame for piece in pieces for frame in decoder.feed(piece)]
    assert decoder.pending <= 121
    assert len(frames) <= 1


@settings(deadline=None)
@given(st.binary(max_size=200))
def test_no_line_of_bytes_upsets_a_board(line: bytes) -> None:
    try:
        command = parse_command(line)
    except CommandError as error:
        assert -350 < error.number < 0 and 0 <= error.tag < 1 << 16
    else:
        assert isinstance(command, Command)


@settings(deadline=None)
@given(
    text=st.sampled_from(["*IDN?", "SYST:ERR?", "CONF:RATE 200", "CAL:DATA? CYL", "ABOR"]),
    tag=WORD,
    upper=st.lists(st.booleans(), min_size=20, max_size=20),
)
def test_case_and_tag_do_not_matter(text: str, tag: int, upper: list[bool]) -> None:
    mixed = "".join(letter.upper() if up else letter.lower() for letter, up in zip(text, upper, strict=False))
    plain, tagged = parse_command(encode_command(text)), parse_command(encode_command(mixed, tag))
    assert (tagged.header, tagged.query, tagged.arguments) == (plain.header, plain.query, plain.arguments)
    assert (plain.tag, tagged.tag) == (0, tag)
