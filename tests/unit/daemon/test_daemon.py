"""The composition: what goes through, what is told of its health, and how it ends."""

from __future__ import annotations

import asyncio
import os
import re
import signal

import pytest

from daq.broker_settings import mqtt_settings
from daq.config import Config, MqttSection, StorageSection
from daq.daemon import daemon as module
from daq.daemon.bench import new_boot_id
from daq.daemon.daemon import Daemon
from daq.daemon.health import Health
from daq.errors import StorageError, UnavailableError, UsageError
from daq.records import Board, Chunk, Delivery, Input, LineFormat, LinkChange, Mark, Restarted
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.payloads import StatusFields
from daq.sinks.raw_log import RawLogWriter, read_raw_log
from daq.sinks.store import open_readonly, read_samples
from tests.suites.deliveries import samples
from tests.unit.daemon.scripted import T0_S, Remembering, Scripted, a_measurement

FULL = StorageError("Cannot write the raw log: the disk is full.")


def run(config: Config, source: Scripted, *watchers: Remembering) -> Daemon:
    daemon = Daemon(config, source, watchers)
    asyncio.run(daemon.run())
    return daemon


def kinds(config: Config) -> list[str]:
    database = open_readonly(config.storage.database)
    try:
        return [kind for (kind,) in database.execute("SELECT kind FROM event ORDER BY id")]
    finally:
        database.close()


# ---- the flow


def test_the_end_of_the_source_drains_everything(config: Config) -> None:
    items, watcher = a_measurement(), Remembering()
    daemon = run(config, Scripted(items), watcher)
    stored = kinds(config)
    assert stored[0] == "link_change" and "link_change" in stored[-2:] and "stable_reading" in stored
    assert watcher.taken.count("LinkChange") == 2 and "StableReading" in watcher.taken
    (log,) = config.storage.raw_logs.iterdir()
    assert list(read_raw_log(log)) == items
    database = open_readonly(config.storage.database)
    n = sum(len(each.t_us) for each in read_samples(database, daemon.boot_id))
    (ended,) = database.execute("SELECT ended_utc FROM boot").fetchone()
    database.close()
    assert n == daemon.status().samples > 1000
    assert ended is not None


def asked(config: Config, *marks: Mark) -> list[str]:
    """What a run refuses of marks that come with its bytes."""
    refused: list[str] = []
    left = iter(marks)

    def take(item: Input) -> None:
        mark = next(left, None) if isinstance(item, Chunk) else None
        try:
            if mark is not None:
                daemon.take(mark)
        except UsageError as error:
            refused.append(error.what)

    daemon = Daemon(config, Scripted(a_measurement(), take))
    asyncio.run(daemon.run())
    return refused


def test_a_test_has_a_name_of_its_own(config: Config) -> None:
    """Whether the other one is stored already or not yet."""
    start = Mark(T0_S, "start", '{"test": "spring"}')
    assert asked(config, start, start) == ["There is a test 'spring' already."]
    assert asked(config, start) == ["There is a test 'spring' already."]


def test_a_test_that_is_gone_on_with_has_the_cylinders_of_its_own_engine(
    config: Config, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not those of the configured one."""
    monkeypatch.setattr("daq.sinks.store.store.FORGET_S", 1e9)
    asked(config, Mark(T0_S, "start", '{"engine": "v8", "acknowledged_by": "kim"}'))
    refused = asked(config, Mark(T0_S, "heard", "8: exhaust"), Mark(T0_S, "heard", "9: exhaust"))
    assert refused == ["This engine has no cylinder 9; it has 1, 2, 3, 4, 5, 6, 7, 8."]


def test_what_is_published_nowhere_does_not_wait_to_be(config: Config) -> None:
    daemon = run(config, Scripted(a_measurement()))
    database = open_readonly(config.storage.database)
    (waiting,) = database.execute("SELECT count(*) FROM event WHERE body IS NOT NULL").fetchone()
    database.close()
    assert (waiting, daemon.status().outbox_depth) == (0, 0)


def test_what_is_refused_is_refused_before_the_first_byte(config: Config) -> None:
    seen: list[object] = []

    async def scene() -> None:
        holder = Daemon(config, Scripted(a_measurement(1.0), endless=True))
        holding = asyncio.create_task(holder.run())
        while not config.storage.database.exists() or not hasattr(holder, "_store"):
            await asyncio.sleep(0.01)
        try:
            with pytest.raises(StorageError, match="in use by another boretight"):
                await Daemon(config, Scripted(a_measurement(1.0), seen.append)).run()
        finally:
            holder._source.stop()
            await holding

    asyncio.run(scene())
    assert seen == []


def test_a_start_that_fails_leaves_the_database_closed(config: Config) -> None:
    def refuse(settings: MqttSettings) -> None:
        raise FULL

    published = config.model_copy(update={"mqtt": MqttSection(host="127.0.0.1")})
    daemon = Daemon(published, Scripted(a_measurement(1.0)), on_broker=refuse)
    with pytest.raises(StorageError, match="disk is full"):
        asyncio.run(daemon.run())
    assert daemon.status().database_bytes
    assert not list(config.storage.folder.glob("*.db-*"))
    run(config, Scripted(a_measurement(1.0)))


def test_a_raw_log_that_cannot_be_written_stops_nothing(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: RawLogWriter, item: object) -> None:
        raise FULL

    monkeypatch.setattr(RawLogWriter, "append", refuse)
    run(config, Scripted(a_measurement()))
    assert "stable_reading" in kinds(config)


def test_a_watcher_that_fails_stops_nothing_and_is_told(
    config: Config, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(module, "DRAIN_S", 0.1)
    statuses = observed(config, Remembering(OSError("gone")))
    assert statuses[-1].faults == ("remembering-failing",)
    assert "stable_reading" in kinds(config)
    (left,) = [text for text in caplog.messages if "could not be written before the end" in text]
    assert left.startswith("sink remembering: ")


# ---- health


def observed(config: Config, *watchers: Remembering) -> list[StatusFields]:
    """The status after each input of a measurement, the sinks having had a moment."""
    statuses: list[StatusFields] = []
    source = Scripted(a_measurement(), lambda item: statuses.append(daemon.status()))
    daemon = Daemon(config, source, watchers)
    asyncio.run(daemon.run())
    return statuses


def test_the_status_follows_the_line(config: Config) -> None:
    lines = [status.line for status in observed(config)]
    assert lines[0] == lines[-2] == "up" and lines[-1] == "down"


def test_without_a_board_the_status_says_why(config: Config) -> None:
    source = Scripted(a_measurement())
    daemon = run(config, source)
    source.trouble = UnavailableError("Nothing answers on /dev/ttyX.")
    assert (daemon.status().line, daemon.status().line_detail) == ("searching", "Nothing answers on /dev/ttyX.")


def test_a_line_that_is_up_but_silent_is_a_fault(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    daemon = run(config, Scripted(a_measurement()[:-1]))
    end_s = T0_S + 6.0
    monkeypatch.setattr(module.time, "time", lambda: end_s + 1.0)
    assert daemon.status().faults == ()
    monkeypatch.setattr(module.time, "time", lambda: end_s + 10.0)
    assert daemon.status().faults == ("no-samples",)
    assert daemon.status().newest_sample_age_s == pytest.approx(10.0, abs=0.1)


def test_a_board_that_never_sends_a_sample_is_a_fault(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    daemon = run(config, Scripted(a_measurement()[:1]))
    monkeypatch.setattr(module.time, "time", lambda: T0_S + 1.0)
    assert daemon.status().faults == ()
    monkeypatch.setattr(module.time, "time", lambda: T0_S + 10.0)
    assert daemon.status().faults == ("no-samples",)
    assert daemon.status().newest_sample_age_s is None


def test_a_line_that_comes_back_has_time_for_its_first_sample() -> None:
    health = Health(newest_sample_s=17.0)
    health.observe(Delivery((LinkChange(2, 0.0, True, "", Board(LineFormat.FRAMED, 12)),), {2: 0.0}), 90.0)
    assert health.silent_s(91.0) == 1.0
    health.observe(Delivery((LinkChange(2, 0.0, False, "unplugged", None),), {2: 0.0}), 92.0)
    assert health.silent_s(99.0) == 0.0


def test_a_raw_log_in_trouble_is_a_fault(config: Config, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(RawLogWriter, "fault", property(lambda self: "the disk is full"))
    assert all("raw-log-not-written" in status.faults for status in observed(config))


def test_health_counts_what_goes_by() -> None:
    health = Health()
    health.observe(Delivery((samples(0, 10), Restarted(1, 0.0, "watchdog", 2)), {1: 0.0}), 17.0)
    assert (health.newest_sample_s, health.restarts, health.line_up) == (17.0, 1, False)
    health.observe(Delivery((LinkChange(1, 0.0, True, "", Board(LineFormat.FRAMED, 12)),), {1: 0.0}), 18.0)
    assert (health.newest_sample_s, health.line_up) == (17.0, True)


# ---- names and places


@pytest.mark.parametrize("made", [False, True])
def test_a_folder_that_is_made_is_private_and_one_that_is_there_stays_as_it_is(config: Config, made: bool) -> None:
    folder = config.storage.folder / "new"
    if made:
        folder.mkdir(mode=0o755)
    before = folder.stat().st_mode if made else None
    run(config.model_copy(update={"storage": StorageSection(folder=folder)}), Scripted(a_measurement(1.0)))
    mode = folder.stat().st_mode
    assert mode == before if made else os.name != "posix" or mode & 0o077 == 0


def test_two_boots_of_one_second_differ() -> None:
    first, second = new_boot_id(T0_S), new_boot_id(T0_S)
    assert first != second
    assert re.fullmatch(r"20260101t000000z-[0-9a-f]{8}", first)


@pytest.mark.parametrize(
    ("host", "port", "expected"),
    [(None, None, ("broker.example", 8883)), ("other", None, ("other", 8883)), (None, 0, ("broker.example", 0))],
)
def test_the_command_line_comes_before_the_configuration(
    host: str | None, port: int | None, expected: tuple[str, int]
) -> None:
    config = Config(mqtt=MqttSection(host="broker.example", port=8883, username="u", tls=True))
    settings = mqtt_settings(config, host, port)
    assert (settings.host, settings.port) == expected
    assert (settings.username, settings.tls, settings.bench) == ("u", True, config.bench)


def test_without_a_broker_it_is_on_loopback() -> None:
    assert mqtt_settings(Config()).host == "127.0.0.1"


# ---- the end


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_stops_the_source_and_is_given_back_afterwards(config: Config, number: signal.Signals) -> None:
    before = signal.getsignal(number)
    items = a_measurement()
    run(config, Scripted(items, lambda item: signal.raise_signal(number) if item == items[-1] else None, endless=True))
    assert "link_change" in kinds(config)[-2:]
    assert signal.getsignal(number) is before
