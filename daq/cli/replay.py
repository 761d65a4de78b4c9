"""`boretight replay`: a raw log through the same pipeline as live, as fast as it goes."""

from __future__ import annotations

import json
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import AsyncExitStack
from pathlib import Path

from daq.calibration_files import from_snapshot as calibration_of_log
from daq.cli.event_loop import run as run_loop
from daq.cli.output import progress
from daq.config import Config, from_snapshot, load
from daq.daemon.bench import calibration_in_force, new_boot_id, software
from daq.driver import Driver
from daq.errors import UsageError
from daq.pipeline import Pipeline
from daq.planning import plan_by_itself
from daq.records import Calibration, Delivery, Event, Readings, Samples
from daq.sinks.payloads import event_body, stream_of
from daq.sinks.raw_log import RawLogReader, read_raw_log
from daq.sinks.store.boot import Boot
from daq.sinks.store.store import Store
from daq.sinks.terminal import sentence
from daq.sources.replay import replay as inputs_of

COALESCE_BYTES = 1 << 18


def replay(path: Path, into: Path | None, config_path: Path | None, as_json: bool) -> None:
    """With the configuration and calibration of the log itself, or with those of `config_path`.

    Exit code 0 also for a log that was cut: all that is there is replayed, and what is wrong with it is told."""
    log = read_raw_log(path)
    config, calibration = _knowledge(config_path, log)
    if into is not None and into.resolve() == config.storage.database.resolve():
        raise UsageError(
            "A replay does not go into the database of the live bench.", todo="Name another file after --into."
        )
    boot = f"replay-{new_boot_id(time.time())}"
    teller = Teller(config, log.header.bench or config.bench, boot, as_json)
    run_loop(_run(config, calibration, log, into, boot, teller))
    for complaint in log.info.complaints():
        print(f"boretight: {complaint}", file=sys.stderr)
    teller.sum_up(into)


def _knowledge(config_path: Path | None, log: RawLogReader) -> tuple[Config, Calibration]:
    """Configuration and calibration: those of the log, or today's."""
    if config_path is None and log.header.config and log.header.calibration:
        return from_snapshot(log.header.config, log.path), calibration_of_log(log.header.calibration, log.path)
    config = load(config_path)
    return config, calibration_in_force(config, lambda complaint: print(f"boretight: {complaint}", file=sys.stderr))


async def _run(
    config: Config, calibration: Calibration, log: RawLogReader, into: Path | None, boot: str, teller: Teller
) -> None:
    plan = plan_by_itself(config, log.header.boot or boot)
    driver = Driver(Pipeline(config.measuring_instrument(), calibration, plan))
    async with AsyncExitStack() as stack:
        store: Store | None = None
        if into is not None:
            run = Boot(teller.bench, boot, software(), str(log.path), config.model_dump(mode="json"))
            store = Store(
                into, run, calibrations=[calibration], announce=False, goes_on=False, unit=config.display.pressure
            )
            stack.push_async_callback(store.close)
            await store.open()
        with progress(f"Replaying {log.path.name}", log.bytes_total) as advance:
            for delivery in _deliveries(driver, log):
                teller.tell(delivery)
                if store is not None and delivery.records:
                    await store.write(delivery)
                advance(log.bytes_read)


def _deliveries(driver: Driver, log: RawLogReader) -> Iterator[Delivery]:
    for item in inputs_of(log, COALESCE_BYTES):
        yield driver.step(item)
    yield driver.finish()


class Teller:
    """Says what a replay found: a sentence for each event, or the message that a live run would publish for it."""

    def __init__(self, config: Config, bench: str, boot: str, as_json: bool) -> None:
        self.bench, self._boot, self._json = bench, boot, as_json
        self._unit = config.display.pressure
        self._seq: Counter[str] = Counter()
        self._board_s = 0.0
        self._samples = 0
        self._began_s = time.perf_counter()

    def tell(self, delivery: Delivery) -> None:
        for record in delivery.records:
            match record:
                case Samples():
                    self._samples += len(record.t_us)
                    self._board_s += float(record.t_us[-1] - record.t_us[0]) * 1e-6
                case Readings():
                    pass
                case _:
                    self._event(record, delivery.utc_s(record))

    def _event(self, event: Event, utc_s: float) -> None:
        if not self._json:
            if text := sentence(event, self._unit):
                print(f"{event.t_s:10.2f} s  {text}")
            return
        if stream := stream_of(event):
            self._seq[stream] += 1
            body = event_body(
                event, bench=self.bench, boot=self._boot, seq=self._seq[stream], utc_s=utc_s, unit=self._unit
            )
            assert body is not None
            print(json.dumps({"stream": stream, **json.loads(body[1])}))

    def sum_up(self, into: Path | None) -> None:
        """How much there was and how fast it went; on standard error, as it is no result."""
        took_s = max(time.perf_counter() - self._began_s, 1e-6)
        print(
            f"{self._samples} samples, {self._board_s:.1f} s of the board's time, replayed in {took_s:.2f} s "
            f"({self._board_s / took_s:.0f} times real time){f', stored in {into}' if into else ''}.",
            file=sys.stderr,
        )
