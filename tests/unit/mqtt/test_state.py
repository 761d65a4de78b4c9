from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import replace
from typing import Any

from daq.sinks.mqtt.state import StateBoard
from daq.sinks.payloads import StatusFields
from tests.suites.virtual_time import now_s, run


class Bench:
    def __init__(self) -> None:
        self.fields = StatusFields(line="up", newest_sample_age_s=0.1)
        self.got: list[tuple[float, str, str]] = []

    async def publish(self, name: str, text: str) -> None:
        self.got.append((round(now_s(), 3), name, text))
        await asyncio.sleep(0)

    def play(self, scene: Callable[[StateBoard], Coroutine[Any, Any, None]]) -> list[tuple[float, str, str]]:
        async def connected() -> None:
            board = StateBoard(lambda: self.fields, lambda fields: fields.line, now_s)
            await board.publish_all(self.publish)
            task = asyncio.create_task(board.run(self.publish))
            await scene(board)
            task.cancel()

        run(connected())
        return self.got


def test_status_comes_on_connection_and_each_half_minute() -> None:
    async def scene(board: StateBoard) -> None:
        await asyncio.sleep(95)

    got = Bench().play(scene)
    assert [name for _, name, _ in got] == ["status"] * 4
    assert [when for when, _, _ in got] == [0.0, 30.0, 60.0, 90.0]


def test_news_come_at_once_and_plain_counting_does_not() -> None:
    bench = Bench()

    async def scene(board: StateBoard) -> None:
        await asyncio.sleep(5)
        bench.fields = replace(bench.fields, samples=5000, newest_sample_age_s=0.4)
        board.look()
        await asyncio.sleep(5)
        bench.fields = replace(bench.fields, line="down")
        board.look()
        await asyncio.sleep(5)

    assert bench.play(scene) == [(0.0, "status", "up"), (10.0, "status", "down")]


def test_news_that_nobody_told_of_are_found_within_a_second() -> None:
    bench = Bench()

    async def scene(board: StateBoard) -> None:
        await asyncio.sleep(5.5)
        bench.fields = replace(bench.fields, newest_sample_age_s=2.5)
        await asyncio.sleep(2)

    assert [when for when, _, _ in bench.play(scene)] == [0.0, 6.0]


def test_a_fluttering_line_tells_at_most_once_a_second() -> None:
    bench = Bench()

    async def scene(board: StateBoard) -> None:
        for n in range(1000):
            bench.fields = replace(bench.fields, bad_lines=n)
            board.look()
            await asyncio.sleep(0.01)

    assert 9 <= len(bench.play(scene)) <= 11


def test_of_several_changes_the_newest_counts() -> None:
    async def scene(board: StateBoard) -> None:
        await asyncio.sleep(1.5)
        board.put("session", "a")
        board.put("describe", "d")
        board.put("session", "b")
        await asyncio.sleep(0.1)
        board.put("session", "c")
        await asyncio.sleep(5)

    got = [(name, text) for _, name, text in Bench().play(scene) if name != "status"]
    assert got == [("session", "b"), ("describe", "d"), ("session", "c")]


def test_a_change_while_publishing_is_not_lost() -> None:
    bench = Bench()
    late: list[StateBoard] = []
    plain = bench.publish

    async def publish(name: str, text: str) -> None:
        if text == "a":
            late[0].put("session", "b")
        await plain(name, text)

    bench.publish = publish  # type: ignore[method-assign]

    async def scene(board: StateBoard) -> None:
        late.append(board)
        board.put("session", "a")
        await asyncio.sleep(0.5)

    assert [text for _, name, text in bench.play(scene) if name == "session"] == ["a", "b"]


def test_each_connection_gets_all_of_it_and_a_new_status() -> None:
    bench = Bench()

    async def scene(board: StateBoard) -> None:
        board.put("session", "s")
        board.keep("last/2", "r")
        await asyncio.sleep(1)
        bench.got.clear()
        bench.fields = replace(bench.fields, line="down")
        await board.publish_all(bench.publish)
        await asyncio.sleep(1)

    assert {(name, text) for _, name, text in bench.play(scene)} == {
        ("status", "down"), ("session", "s"), ("last/2", "r"),
    }  # fmt: skip
    assert len(bench.got) == 3
