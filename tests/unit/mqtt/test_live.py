from __future__ import annotations

import asyncio
from collections.abc import Iterable

from daq.records import Readings
from daq.sinks.mqtt.live import LiveFeed
from tests.suites.deliveries import readings
from tests.suites.virtual_time import now_s, run


def body(rows: Readings, utc_offset_s: float) -> str:
    return f"{rows.t_s[-1]:.2f}"


def sent(puts: Iterable[tuple[float, float]], until_s: float = 10.0, slow_s: float = 0.0) -> list[tuple[float, str]]:
    """(when, body) of what goes out if ticks of board time t arrive at the times given."""
    out: list[tuple[float, str]] = []

    async def publish(name: str, text: str) -> None:
        assert name == "live"
        out.append((round(now_s(), 6), text))
        await asyncio.sleep(slow_s)

    async def scene() -> None:
        feed = LiveFeed(body, now_s)
        task = asyncio.create_task(feed.run(publish))
        for at_s, t_s in puts:
            await asyncio.sleep(at_s - now_s())
            feed.put(readings(t_s - 0.05, 1), 0.0)
        await asyncio.sleep(until_s - now_s())
        task.cancel()

    run(scene())
    return out


def test_a_tick_goes_out_at_the_moment_it_comes() -> None:
    assert sent([(1.0, 1.0), (3.0, 3.0)]) == [(1.0, "1.00"), (3.0, "3.00")]


def test_of_twenty_ticks_a_second_ten_go_out_and_each_at_once() -> None:
    """However the arrival trembles: what goes out is never older than its own arrival."""
    tremble = (0.0, 0.004, 0.012, 0.001, 0.009)
    puts = [(1.0 + 0.05 * n + tremble[n % 5], 1.0 + 0.05 * n) for n in range(100)]
    arrived = {f"{t_s:.2f}": round(at_s, 6) for at_s, t_s in puts}
    out = sent(puts)
    assert all(when == arrived[text] for when, text in out[:-1])
    assert 45 <= len(out) <= 51
    for (before, _), (after, _) in zip(out, out[10:], strict=False):
        assert after - before >= 1.0 - 0.02 - 1e-6


def test_the_last_tick_before_silence_is_not_forgotten() -> None:
    out = sent([(1.0, 1.0), (1.01, 1.01)])
    assert [text for _, text in out] == ["1.00", "1.01"]


def test_a_broker_that_takes_its_time_gets_the_newest_only() -> None:
    out = sent([(1.0 + 0.05 * n, 1.0 + 0.05 * n) for n in range(40)], slow_s=0.52)
    assert [text for _, text in out] == ["1.00", "1.50", "2.00", "2.55", "2.95"]


def test_nothing_waits_for_the_next_connection() -> None:
    out: list[str] = []

    async def publish(name: str, text: str) -> None:
        out.append(text)
        await asyncio.sleep(100)

    async def scene() -> None:
        feed = LiveFeed(body, now_s)
        for t_s in (1.0, 2.0):
            task = asyncio.create_task(feed.run(publish))
            await asyncio.sleep(1)
            feed.put(readings(t_s, 1), 0.0)
            await asyncio.sleep(1)
            feed.put(readings(t_s + 0.5, 1), 0.0)
            task.cancel()
            await asyncio.wait({task})

    run(scene())
    assert out == ["1.05", "2.05"]


def test_readings_without_rows_say_nothing() -> None:
    async def scene() -> list[str]:
        out: list[str] = []

        async def publish(name: str, text: str) -> None:
            out.append(text)

        feed = LiveFeed(body, now_s)
        task = asyncio.create_task(feed.run(publish))
        feed.put(readings(0.0, 0), 0.0)
        await asyncio.sleep(1)
        assert not task.done()
        task.cancel()
        return out

    assert run(scene()) == []
