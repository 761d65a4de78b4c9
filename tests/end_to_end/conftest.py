from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.end_to_end.bench import Bench
from tests.suites.brokers import Mosquitto


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A bench that brings its own broker."""
    bench = Bench(tmp_path)
    yield bench
    bench.close()


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that keeps, over a restart, what its clients subscribed to and have not got yet."""
    keeping = f"allow_anonymous true\npersistence true\npersistence_location {tmp_path}/\n"
    broker = Mosquitto(tmp_path, keeping)
    broker.start()
    yield broker
    broker.stop()


@pytest.fixture
def mosquitto_bench(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[Bench]:
    """A bench that publishes to Debian's Mosquitto."""
    bench = Bench(tmp_path, mosquitto)
    yield bench
    bench.close()
