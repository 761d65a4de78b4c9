"""What the flow brings, as a page is told it; with a clock of the test."""

from __future__ import annotations

import asyncio
import json
import socket
import urllib.request
from collections.abc import Awaitable, Callable
from dataclasses import replace
from importlib.resources import files
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from daq.errors import UnavailableError
from daq.procedure.states import Phase
from daq.procedure.verdict import COMMON_PRACTICE
from daq.records import (
    AirChange,
    AirState,
    Cue,
    CueLevel,
    Event,
    Fault,
    LinkChange,
    Session,
    Tap,
)
from daq.sinks.base import Sink
from daq.sinks.face import Face, state
from daq.sinks.page.settings import PageSettings
from daq.sinks.page.sink import PageBench, PageSink, in_sentences
from daq.sinks.payloads import StatusFields, event_body, stream_of
from daq.units import PressureUnit
from tests.suites.deliveries import BOARD, PLAN, UTC_OFFSET_S, delivery, every_event, readings
from tests.suites.sink_suite import SinkSuite
from tests.unit.page.pages import DESCRIPTION, TOKEN, Clock, hub_of, newest, next_part, sink, told

SETTLING = Session(1, 1.0, "test-four", 3, Phase.SETTLE, 4)


class Noting(PageSink):
    """Remembers what it was given."""

    def __init__(self) -> None:
        super().__init__(
            PageSettings("garage", TOKEN, port=0),
            PageBench(DESCRIPTION, "boot-1", PLAN, COMMON_PRACTICE),
            StatusFields,
            lambda mark: "",
        )
        self.noted: list[str] = []

    def _tell(self, event: Event, utc_s: float) -> None:
        super()._tell(event, utc_s)
        self.noted.append(type(event).__name__)


class TestPageSink(SinkSuite):
    """It is a sink as any other."""

    def make(self, folder: Path) -> Sink:
        return Noting()

    def taken(self, folder: Path, sink: Sink) -> list[str]:
        assert isinstance(sink, Noting)
        return sink.noted


def opened(test: Callable[[PageSink, Clock], Awaitable[None]], **options: Any) -> None:
    async def run() -> None:
        clock = Clock()
        page = sink(clock=clock, **options)
        await page.open()
        try:
            await test(page, clock)
        finally:
            await page.close()

    asyncio.run(run())


# ---- what happened


def test_messages_are_those_of_mqtt_with_the_numbers_of_the_store() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        found = await told(page, *(delivery(event) for event in every_event()))
        seq = {"reading": 0, "event": 0, "verdict": 0}
        expected = []
        for event in every_event():
            stream = stream_of(event)
            if stream is not None:
                rendered = event_body(
                    event,
                    bench="garage",
                    boot="boot-1",
                    seq=seq[stream],
                    utc_s=UTC_OFFSET_S + event.t_s,
                    unit=PressureUnit.PSI,
                )
                seq[stream] += 1
                expected.append(rendered)
        assert [(name, content) for name, _, content in found if name in seq] == [
            (name, json.loads(body)) for name, body in filter(None, expected)
        ]

    opened(test)


def test_what_happened_is_told_in_words_and_the_news_once() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        found = await told(
            page,
            delivery(
                Tap(1, 4.0, 3.0, 137_895.0, 1.1),
                Cue(1, 5.0, "tap", CueLevel.NEWS, "Tap."),
                Cue(1, 6.0, "tap-now", CueLevel.DO, "Tap the valves now."),
            ),
        )
        said = [content for name, _, content in found if name == "said"]
        assert [(each["text"], each["level"]) for each in said] == [
            ("Tap: the cylinder fell by 20.0 psi and recovered in 1.1 s", ""),
            ("Tap the valves now.", "do"),
        ]

    opened(test)


def test_faults_stand_until_they_are_over() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        fault = Fault(1, 2.0, "hose-off", "It fell.", "Connect it.")
        found = newest(await told(page, delivery(fault)), "faults")
        assert found == [{"fault": "hose-off", "seen": "It fell.", "todo": "Connect it."}]
        assert newest(await told(page, delivery(replace(fault, over=True))), "faults") == []

    opened(test)


# ---- what is so


def test_the_face_has_words_for_where_the_test_stands() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        up = LinkChange(1, 0.0, True, "opened", BOARD)
        face = newest(await told(page, delivery(up, SETTLING, readings(0.0, 1))), "face")
        assert (face["engine"], face["cylinder"], face["phase"]) == ("test-four", 3, "settle")
        assert (face["state"], face["wanted"]) == ("SETTLING", "Settling, wait")
        assert "next" in face["can"] and "go-on" not in face["can"] and "acknowledge" not in face["can"]

    opened(test)


def test_a_test_that_was_ended_says_what_was_left_out() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        ended = replace(SETTLING, cylinder=None, phase="done", done=(1,), order=(1, 3, 4, 2))
        up = LinkChange(1, 0.0, True, "opened", BOARD)
        face = newest(await told(page, delivery(up, ended, readings(0.0, 1))), "face")
        assert face["wanted"] == "Test finished. Without cylinders 3, 4 and 2"

    opened(test)


def test_air_that_is_still_on_is_told_before_the_next_cylinder() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        waiting = replace(SETTLING, phase="wait-air")
        for air_is, expected in (
            (AirState.ON, ("AIR ON", "Vent the air. Then cylinder 3")),
            (AirState.OFF, ("NO AIR", "Connect cylinder 3, crank held, then air")),
        ):
            up, air = LinkChange(1, 0.0, True, "opened", BOARD), AirChange(1, 1.0, air_is, 5e5)
            face = newest(await told(page, delivery(up, air, waiting, readings(0.0, 1))), "face")
            assert (face["state"], face["wanted"]) == expected

    opened(test)


def test_each_state_has_its_shape() -> None:
    words = {
        state(Face("a", "", 3, phase, line_up, held=held, stable=stable, age_s=0.0, air_on=air_on))
        for phase in Phase
        for line_up, held, stable, air_on in product((True, False), repeat=4)
    }
    shapes = (files("daq.sinks.page") / "assets" / "live.html").read_text(encoding="utf-8")
    assert len(words) == 7 and all(f'id="shape-{word.replace(" ", "_")}"' in shapes for word in words)


def test_undo_can_be_pressed_only_where_there_is_something_to_take_back() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        for can_undo in (False, True, False):
            face = newest(await told(page, delivery(replace(SETTLING, can_undo=can_undo))), "face")
            assert ("undo" in face["can"]) is can_undo
        assert {"note", "rocked"} <= set(face["can"])

    opened(test)


def test_readings_that_stop_make_it_stale() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        await page.write(delivery(SETTLING, readings(0.0, 1)))
        clock.now_s = 2.5
        page._look()
        face = newest(await told(page), "face")
        assert (face["state"], face["wanted"]) == ("STALE", "Old data: nothing new from the board")

    opened(test)


def test_a_live_reading_goes_to_who_looks_ten_times_a_second_at_most() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        await next_part(hub_of(page).follow())
        sent = set()
        for tick in range(100):
            clock.now_s = tick * 0.05
            await page.write(delivery(readings(clock.now_s, 1)))
            sent.add(hub_of(page)._states["live"])
        assert 40 <= len(sent) <= 51

    opened(test)


def test_without_anybody_who_looks_no_live_reading_is_made() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        await page.write(delivery(readings(0.0, 1)))
        assert "live" not in hub_of(page)._states

    opened(test)


def test_who_comes_later_sees_no_old_reading_as_a_new_one() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        look = hub_of(page).follow()
        await next_part(look)
        await page.write(delivery(readings(0.0, 2)))
        assert "live" in [name for name, _, _ in await next_part(look)]
        assert "live" not in [name for name, _, _ in await told(page)]

    opened(test)


def test_the_trace_holds_the_last_minute_and_null_where_nothing_is_known() -> None:
    async def test(page: PageSink, clock: Clock) -> None:
        for second in range(90):
            await page.write(delivery(SETTLING, readings(float(second), 20)))
        times, supply, cylinder, loss = json.loads(page._trace.body())
        assert len(times) == 600 and 58 < times[-1] - times[0] <= 60
        assert supply[0] == 80.06 and cylinder[0] == 70.05 and None in loss and 12.6 in loss

    opened(test)


# ---- serving


def test_it_is_served_and_ends_at_once_with_pages_open() -> None:
    ports: list[int] = []

    async def test(page: PageSink, clock: Clock) -> None:
        (port,) = ports
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(f"GET /stream HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        async with asyncio.timeout(10):
            head = await reader.readuntil(b"event: sheet")
        assert b"text/event-stream" in head and b"event: hello" in head
        assert hub_of(page).pages == 1
        writer.close()
        async with asyncio.timeout(10):
            while hub_of(page).pages:  # who has gone is not waited for
                page._look()
                hub_of(page).pulse()
                await asyncio.sleep(0.01)
        status = await asyncio.to_thread(lambda: urllib.request.urlopen(f"http://127.0.0.1:{port}/").status)
        assert status == 200

    opened(test, on_served=ports.append)


def test_a_page_that_does_not_read_holds_nothing_up() -> None:
    ports: list[int] = []

    async def test(page: PageSink, clock: Clock) -> None:
        (port,) = ports
        deaf = socket.socket()
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
        deaf.connect(("127.0.0.1", port))
        deaf.sendall(f"GET /stream HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        async with asyncio.timeout(30):
            while not hub_of(page).pages:
                await asyncio.sleep(0.01)
            for tick in range(4_000):
                clock.now_s = tick * 0.1
                await page.write(delivery(readings(clock.now_s, 1), Tap(1, clock.now_s, 0.0, 1e5, 1.0)))
                if tick % 100 == 0:
                    await asyncio.sleep(0)
        found = await told(page)
        assert newest(found, "event")["mono_s"] == pytest.approx(399.9)
        deaf.close()

    opened(test, on_served=ports.append)


def test_a_port_that_is_taken_is_told() -> None:
    async def run() -> None:
        with socket.socket() as taken:
            taken.bind(("127.0.0.1", 0))
            taken.listen()
            page = sink()
            page._settings = PageSettings("garage", "t" * 22, port=taken.getsockname()[1])
            with pytest.raises(UnavailableError, match="cannot be served"):
                await page.open()

    asyncio.run(run())


@pytest.mark.parametrize(
    ("words", "read"),
    [("CAPTURED. TAP THE VALVES", "Captured. Tap the valves"), ("PAUSED", "Paused"), ("", "")],
)
def test_words_are_written_as_one_reads_them(words: str, read: str) -> None:
    assert in_sentences(words) == read
