"""The hub: newest wins, nothing waits, and what a page has missed it is told as a number."""

from __future__ import annotations

import asyncio

from daq.sinks.page.hub import FIRST_LOOK, Hub, message
from tests.unit.page.pages import messages, next_part


def names(found: list[tuple[str, str, object]]) -> list[object]:
    return [content for _, _, content in found]


def test_a_message_is_an_event_of_an_event_stream() -> None:
    assert message("live", '{"a": 1}', "boot:7") == b'event: live\nid: boot:7\ndata: {"a": 1}\n\n'


def test_of_a_state_a_slow_page_sees_the_newest_alone() -> None:
    async def run() -> None:
        hub = Hub("boot")
        page = hub.follow()
        hub.put("status", "1")
        assert names(await next_part(page)) == [1]
        for value in range(1000):
            hub.put("status", str(value))
            hub.pulse()
        assert names(await next_part(page)) == [999]

    asyncio.run(run())


def test_nobody_is_woken_for_nothing() -> None:
    async def run() -> None:
        hub = Hub("boot")
        page = hub.follow()
        hub.put("status", "1")
        await next_part(page)
        waiting = asyncio.create_task(next_part(page))
        await asyncio.sleep(0)
        (wake,) = hub._waiting
        hub.pulse()
        hub.pulse()
        assert wake.is_set(), "once: it was put after the pulse before"
        await asyncio.sleep(0)
        hub.pulse()
        assert not wake.is_set()
        hub.happened("event", "2")
        hub.pulse()
        assert names(await waiting) == [2]

    asyncio.run(run())


def test_what_is_fleeting_is_not_for_who_comes_later() -> None:
    async def run() -> None:
        hub = Hub("boot")
        hub.put("live", "1")
        hub.put("status", "2")
        page = hub.follow()
        assert names(await next_part(page)) == [2]
        hub.put("live", "3")
        hub.pulse()
        assert names(await next_part(page)) == [3]

    asyncio.run(run())


def test_what_happened_is_told_once_and_in_order() -> None:
    async def run() -> None:
        hub = Hub("boot")
        page = hub.follow()
        for value in (1, 2):
            hub.happened("event", str(value))
        assert names(await next_part(page)) == [1, 2]
        hub.happened("event", "3")
        hub.pulse()
        assert names(await next_part(page)) == [3]

    asyncio.run(run())


def test_what_has_left_the_tail_is_told_as_missed() -> None:
    async def run() -> None:
        hub = Hub("boot", kept=10)
        page = hub.follow()
        hub.happened("event", "0")
        await next_part(page)
        for value in range(25):
            hub.happened("event", str(value))
        hub.pulse()
        first, *rest = await next_part(page)
        assert first == ("missed", "", {"number": 15})
        assert names(rest) == list(range(15, 25))

    asyncio.run(run())


def test_a_page_that_comes_back_goes_on_where_it_was() -> None:
    async def run() -> None:
        hub = Hub("boot")
        for value in range(5):
            hub.happened("event", str(value))
        assert names(await next_part(hub.follow("boot:3"))) == [3, 4]

    asyncio.run(run())


def test_places_of_another_run_or_of_nonsense_mean_nothing() -> None:
    async def run() -> None:
        hub = Hub("boot")
        for value in range(200):
            hub.happened("event", str(value))
        for after in ("another:199", "boot:x", "boot:-3", "", "boot:٣"):
            assert len(await next_part(hub.follow(after))) == FIRST_LOOK

    asyncio.run(run())


def test_all_pages_end_when_it_is_closed() -> None:
    async def run() -> None:
        hub = Hub("boot")
        hub.put("face", "{}")

        async def look() -> bytes:
            return b"".join([part async for part in hub.follow()])

        pages = [asyncio.create_task(look()) for _ in range(4)]
        while hub.pages < 4:
            await asyncio.sleep(0)
        hub.close()
        async with asyncio.timeout(10):
            assert [names(messages(await page)) for page in pages] == [[{}]] * 4
        assert hub.pages == 0

    asyncio.run(run())
