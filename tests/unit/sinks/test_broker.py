"""The watch over the embedded broker, with children that are played. The real child is in the end-to-end tests."""

from __future__ import annotations

import asyncio
import io
import subprocess

import pytest

from daq.sinks import broker as module
from daq.sinks.broker import EmbeddedBroker


class Child:
    """Says one line; is dead from the start if it has a `returncode`, and dies when it is stopped."""

    def __init__(self, pid: int, line: str, returncode: int | None = None) -> None:
        self.pid, self.returncode = pid, returncode
        self.stdin, self.stdout = io.StringIO(), io.StringIO(line)

    def poll(self) -> int | None:
        return self.returncode

    def wait(self, timeout_s: float | None = None) -> int:
        self.returncode = self.returncode or 0
        return self.returncode


def died() -> Child:
    return Child(1, '{"port": 1}\n', returncode=1)


@pytest.mark.parametrize(
    ("trouble", "words"),
    [
        (OSError(12, "no memory"), "no memory"),
        (Child(2, "Traceback, of all things\n"), "Expecting value"),
        (Child(2, "17\n"), "not iterable"),
        (Child(2, ""), "did not start"),
    ],
)
def test_the_watch_goes_on_whatever_is_in_the_way(
    trouble: Exception | Child, words: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    children = [died(), trouble, well := Child(3, '{"port": 1}\n')]

    def start(*_: object, **__: object) -> Child:
        if isinstance(child := children.pop(0), Exception):
            raise child
        return child

    async def scene() -> None:
        async with EmbeddedBroker(1) as broker:
            assert broker._watch is not None
            while broker.pid != well.pid and not broker._watch.done():
                await asyncio.sleep(0)
            assert broker.pid == well.pid

    monkeypatch.setattr(subprocess, "Popen", start)
    monkeypatch.setattr(module, "LOOK_EACH_S", 0.0)
    asyncio.run(scene())
    assert words in caplog.text
