"""The golden vectors of firmware_spec/vectors/ against the codec. The files are read, never written."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest

from daq.wire import (
    BadFrame,
    BareBlock,
    BareDecoder,
    Boot,
    CommandError,
    Decoder,
    Frame,
    Heartbeat,
    InputEvent,
    Reply,
    SampleBlock,
    parse_command,
)
from tests.unit.wire.fake_board import FakeBoard

VECTORS = Path(__file__).parents[3] / "firmware_spec" / "vectors"
TYPES = {"sample": SampleBlock, "heartbeat": Heartbeat, "input": InputEvent, "reply": Reply, "boot": Boot}


def load(name: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = json.loads((VECTORS / f"{name}.json").read_text(encoding="ascii"))
    assert len(rows) > 5
    return rows


def cases(name: str) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("row", load(name), ids=lambda row: row.get("name") or row["line"][:40])


def octets(text: str) -> bytes:
    return text.encode("latin-1")


def only(frames: list[Frame]) -> Frame:
    assert len(frames) == 1
    return frames[0]


def plain(frame: Frame) -> dict[str, Any]:
    """Fields of a frame as they stand in the vectors; of a block with one sample, that sample's."""
    values = {field.name: getattr(frame, field.name) for field in dataclasses.fields(frame)}
    return {name: value[0].item() if hasattr(value, "dtype") else value for name, value in values.items()}


@cases("good_frames")
def test_a_good_frame_carries_its_fields(row: dict[str, Any]) -> None:
    frame = only(Decoder().feed(octets(row["line"]) + b"\n"))
    assert type(frame) is TYPES[row["type"]]
    assert plain(frame) == row["fields"]


@cases("good_frames")
def test_its_fields_make_the_frame(row: dict[str, Any]) -> None:
    frame = only(Decoder().feed(octets(row["line"]) + b"\r\n"))
    assert not isinstance(frame, BadFrame)
    assert frame.encode() == (b"\n" if row["type"] == "boot" else b"") + octets(row["line"]) + b"\n"


@cases("corrupt_lines")
def test_a_corrupt_line_is_rejected_for_its_reason(row: dict[str, Any]) -> None:
    frame = only(Decoder().feed(octets(row["line"]) + b"\n"))
    assert isinstance(frame, BadFrame)
    assert frame.reason == row["reason"]
    assert octets(row["line"]).startswith(frame.evidence)


def names(frames: list[Frame]) -> list[str]:
    found = []
    for frame in frames:
        if isinstance(frame, BadFrame):
            found.append(str(frame.reason))
        else:
            name = next(name for name, kind in TYPES.items() if isinstance(frame, kind))
            found += [name] * (len(frame) if isinstance(frame, SampleBlock) else 1)
    return found


@cases("streams")
def test_a_stream_gives_its_frames(row: dict[str, Any]) -> None:
    stream = octets(row["stream"])
    assert names(Decoder().feed(stream)) == row["frames"]
    decoder = Decoder()
    assert names([frame for byte in stream for frame in decoder.feed(bytes([byte]))]) == row["frames"]


@cases("commands")
def test_a_command_is_understood_or_refused(row: dict[str, Any]) -> None:
    if "error" in row:
        with pytest.raises(CommandError) as refused:
            parse_command(octets(row["line"]) + b"\n")
        assert (refused.value.number, refused.value.tag) == (row["error"], row["tag"])
        return
    command = parse_command(octets(row["line"]) + b"\n")
    assert (command.header, command.query, list(command.arguments)) == (row["header"], row["query"], row["arguments"])
    assert command.tag == row["tag"]


@cases("sessions")
def test_a_session_gives_its_replies(row: dict[str, Any]) -> None:
    board = FakeBoard()
    for step in row["steps"]:
        board.write(octets(step["send"]))
        data = board.read(len(board.out)) if board.out else b""
        replies = [frame for frame in Decoder().feed(data) if isinstance(frame, Reply)]
        expected = [only(Decoder().feed(octets(line) + b"\n")) for line in step["replies"]]
        assert replies == expected


@cases("bare_lines")
def test_a_bare_line(row: dict[str, Any]) -> None:
    frame = only(BareDecoder().feed(octets(row["line"]) + b"\n"))
    if "reason" in row:
        assert isinstance(frame, BadFrame)
        assert frame.reason == row["reason"]
    else:
        assert isinstance(frame, BareBlock)
        assert plain(frame) == {key: row[key] for key in ("supply_count", "cylinder_count")}
