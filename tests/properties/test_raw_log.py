from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from daq.records import Board, Chunk, Input, LineFormat, LinkDown, LinkUp, Mark, ReferenceMode
from daq.sinks.raw_log import RawLogHeader, read_raw_log, write_raw_log
from daq.sinks.raw_log_format import MAX_PAYLOAD, SYNC, Damage, encode_entry, scan

times = st.floats(allow_nan=False, allow_infinity=False)
texts = st.text(max_size=20)
boards = st.builds(
    Board,
    st.sampled_from(LineFormat),
    st.integers(8, 24),
    st.sampled_from(ReferenceMode),
    st.none() | st.floats(1, 5000),
    texts,
    texts,
    texts,
)
data = st.binary(max_size=60) | st.lists(st.sampled_from([SYNC, b"\x01", b"S,0", b"\0\0\0\0"])).map(b"".join)
inputs = st.one_of(
    st.builds(Chunk, times, data),
    st.builds(Mark, times, texts, texts),
    st.builds(LinkUp, times, boards),
    st.builds(LinkDown, times, texts),
)
logs = st.lists(inputs, max_size=12)


def found(content: bytes, split: int = 1 << 20) -> list[object]:
    return list(scan(content[at : at + split] for at in range(0, len(content), split)))


def whole(content: bytes) -> list[object]:
    return [each for each in found(content) if not isinstance(each, Damage)]


def with_file(use: Callable[[Path], None], name: str = "x.btlog") -> None:
    with tempfile.TemporaryDirectory() as folder:
        use(Path(folder) / name)


@given(logs, st.sampled_from(["x.btlog", "x.btlog.gz"]), st.dictionaries(texts, texts | st.integers() | st.none()))
def test_what_was_written_is_read(log: list[Input], name: str, config: dict[str, object]) -> None:
    def there_and_back(path: Path) -> None:
        header = RawLogHeader("bench", "boot", "2026-01-01T00:00:00Z", "0.1", config, {"a": 1.5})
        assert write_raw_log(path, header, log) == len(log)
        reader = read_raw_log(path)
        assert (list(reader), reader.header, reader.info.complaints()) == (log, header, [])
        assert list(reader) == log

    with_file(there_and_back, name)


@given(logs, st.integers(1, 40))
def test_any_split_of_the_bytes_gives_the_same_records(log: list[Input], split: int) -> None:
    assert found(b"".join(map(encode_entry, log)), split) == log


@given(logs, st.data())
def test_a_changed_byte_costs_only_the_record_that_it_hits(log: list[Input], draw: st.DataObject) -> None:
    records = [encode_entry(item) for item in log] or [b"."]
    hit = draw.draw(st.integers(0, len(records) - 1))
    place = draw.draw(st.integers(0, len(records[hit]) - 1))
    broken = bytearray(records[hit])
    broken[place] ^= draw.draw(st.integers(1, 255))
    before, after = b"".join(records[:hit]), b"".join(records[hit + 1 :])
    expected: list[object] = [*log[:hit], Damage(len(before), len(broken), to_end=not after), *log[hit + 1 :]]
    assert found(before + broken + after) == expected


@given(logs, st.data())
def test_a_cut_costs_only_what_comes_after_it(log: list[Input], draw: st.DataObject) -> None:
    records = [encode_entry(item) for item in log]
    content = b"".join(records)
    cut = draw.draw(st.integers(0, len(content)))
    kept = 0
    while kept < len(log) and sum(map(len, records[: kept + 1])) <= cut:
        kept += 1
    end = sum(map(len, records[:kept]))
    assert found(content[:cut]) == [*log[:kept], *([Damage(end, cut - end, to_end=True)] if cut > end else [])]


@given(logs, logs, data.filter(bool), st.integers(1, 40))
def test_garbage_between_records_costs_none_of_them(
    before: list[Input], after: list[Input], garbage: bytes, split: int
) -> None:
    content = b"".join(map(encode_entry, before)) + garbage + b"".join(map(encode_entry, after))
    assert [each for each in found(content, split) if not isinstance(each, Damage)] == before + after


@given(st.binary(max_size=300))
def test_pure_garbage_is_one_damage(garbage: bytes) -> None:
    assert found(garbage) == ([Damage(0, len(garbage), to_end=True)] if garbage else [])


@given(st.integers(0, 50))
def test_a_huge_chunk_is_kept_in_parts(more: int) -> None:
    chunk = Chunk(1.5, bytes(2 * MAX_PAYLOAD + more))
    parts = whole(encode_entry(chunk))
    assert b"".join(part.data for part in parts if isinstance(part, Chunk)) == chunk.data
    assert all(isinstance(part, Chunk) and part.arrived_s == 1.5 for part in parts)
